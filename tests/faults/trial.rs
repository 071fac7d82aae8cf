//! One monitor on one part, asked one thing after the other, and what it may say of the part.

use crake::bus::Fault;
use crake::part::ResumeToken;

use crate::host::{Ask, Face, Host, Outcome};
use crate::judge;
use crate::plan::{Plan, RESET_US, Shape};
use crate::scene::{FAST, SHOT, Scene, Setting};

/// A monitor on a scene, and what it is to know of the part by its contract.
pub struct Trial {
    pub scene: Scene,
    face: Face,
    host: Host,
    pub powered: bool,
    /// What the part is configured as, where the monitor is to know it.
    pub knows: Option<&'static Setting>,
    /// Somebody else wrote to the part since then, or it was reset.
    pub meddled: bool,
    /// What the part was told last, where that came through and its count of writes is kept.
    pub told: Option<&'static Setting>,
    /// As the firmware kept it when an operation last came through.
    token: ResumeToken,
    /// The part answers as the operation begins.
    pub answers: bool,
    /// Number of the configuration and of scans, as of the last sample.
    pub scans: Option<(u32, u32)>,
    /// Configurations that came through.
    pub configurations: u32,
    /// What was transferred in the last operation.
    pub shapes: Vec<Shape>,
    /// How often it waited.
    pub waited: usize,
}

/// Pointer of a register that can always be read (datasheet, section 3).
const IDENTITY: u8 = 0x00;
/// Time between two calls, in microseconds: more than any reading may be old.
const BETWEEN_US: u64 = 9_000;

impl Trial {
    pub fn new(face: Face) -> Self {
        let scene = Scene::new();
        Self {
            face,
            host: Host::new(face, &scene),
            scene,
            powered: true,
            knows: None,
            meddled: false,
            told: None,
            token: ResumeToken { writes: 0 },
            answers: true,
            scans: None,
            configurations: 0,
            shapes: Vec::new(),
            waited: 0,
        }
    }

    /// Carries out an operation under a plan, and holds what comes of it against the contract.
    ///
    /// # Panics
    /// Where it does not hold.
    pub fn ask(&mut self, ask: Ask, plan: Option<Plan>) -> Outcome {
        self.scene.pass_us(BETWEEN_US);
        if let Ask::Resume(_) = ask {
            self.restart();
        }
        self.answers = self.scene.register(IDENTITY, 4).is_some();
        let begun_us = self.scene.now_us();
        self.scene.wiring.begin(plan);
        let outcome = self.host.ask(&self.scene, ask, self.token);
        let wiring = &self.scene.wiring;
        (self.shapes, self.waited) = (wiring.transfers(), wiring.waited());
        let disturbed = wiring.disturbed();

        judge::refusal(self, ask, &outcome);
        if plan.is_none() {
            judge::without_fault(self, ask, &outcome);
        }
        self.learn(ask, &outcome);
        if self.knows.is_some() && matches!(outcome, Outcome::Done | Outcome::Sampled(_)) {
            self.token = self.host.token();
        }
        self.meddled |= disturbed.is_some();
        match &outcome {
            Outcome::Failed(error) => judge::error(self, ask, error),
            Outcome::Sampled(seen) => {
                judge::sample(self, seen, begun_us, plan.is_none());
                self.scans = Some((seen.configuration, seen.scans));
            }
            Outcome::Done | Outcome::Dropped => {}
        }
        judge::part(self, ask, &outcome, disturbed);
        self.scene.wiring.begin(None);
        outcome
    }

    /// Whatever was wrong is over. The monitor says what it is; `init` brings it back.
    ///
    /// # Panics
    /// Where it does not.
    pub fn recover(&mut self) {
        self.scene.part.power_up();
        self.scene.pass_us(RESET_US.into());
        self.ask(Ask::Sample, None);
        self.ask(Ask::Sample, None);
        self.ask(Ask::Powered(true), None);
        let outcome = self.ask(Ask::Init(&FAST), None);
        assert!(
            matches!(outcome, Outcome::Done),
            "init after all: {outcome:?}"
        );
        let outcome = self.ask(Ask::Sample, None);
        assert!(
            matches!(outcome, Outcome::Sampled(_)),
            "sample after all: {outcome:?}"
        );
    }

    /// The firmware starts anew, and the part goes on.
    fn restart(&mut self) {
        self.host = Host::new(self.face, &self.scene);
        self.powered = true;
        self.knows = None;
        self.configurations = 0;
        self.scans = None;
    }

    /// What the monitor is to know from now on.
    fn learn(&mut self, ask: Ask, outcome: &Outcome) {
        let fault = match outcome {
            Outcome::Failed(error) => Some(error.fault()),
            _ => None,
        };
        let refused = matches!(fault, Some(Fault::NotConfigured | Fault::Unpowered));
        match (ask, outcome) {
            (Ask::Powered(on), _) => (self.powered, self.knows) = (on, None),
            (Ask::Init(setting) | Ask::Configure(setting), Outcome::Done)
            | (Ask::Resume(setting), Outcome::Sampled(_)) => {
                (self.knows, self.told) = (Some(setting), Some(setting));
                self.configurations += 1;
                self.meddled = false;
            }
            // An operation that changes the part and did not come through.
            (Ask::Init(_) | Ask::Configure(_), _) if !refused => {
                (self.knows, self.told) = (None, None);
            }
            (Ask::Resume(_), _) if !refused => {
                self.knows = None;
                self.told = self.told.filter(|told| told.run != SHOT.run);
            }
            (Ask::Init(_) | Ask::Configure(_) | Ask::Resume(_), _) => {}
            (Ask::Sample, Outcome::Sampled(_)) => {}
            (Ask::Sample, _) => {
                // A single shot that was begun counts as a write.
                self.told = self.told.filter(|told| told.run != SHOT.run);
                let gone = [Fault::Reset, Fault::Changed, Fault::NotConfigured];
                if fault.is_some_and(|fault| gone.contains(&fault)) {
                    self.knows = None;
                }
            }
        }
    }
}
