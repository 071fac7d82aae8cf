//! One monitor on one part, asked one thing after the other, and what it may say of the part.

use std::time::Duration;

use crake::alert::{AlertFlags, AlertQueue, Outputs};
use crake::bus::Fault;

use crate::host::{Ask, Face, Host, Kept, Outcome};
use crate::judge;
use crate::limits::LimitSet;
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
    /// Somebody else may have stopped it since the last configuration.
    pub stopped: bool,
    /// What the part was told last, where that came through and its count of writes is kept.
    pub told: Option<&'static Setting>,
    /// The part was told to capture, and did not hear otherwise since.
    pub captured: bool,
    captured_with: Option<&'static Setting>,
    /// Limits are to stand in the part.
    pub armed: Option<&'static LimitSet>,
    kept: Kept,
    /// A proof test did not come to its end: its masks may stand, until the next service.
    masks_disturbed: bool,
    /// The witness sees the part's flags: nobody clears them before limits are set.
    watched: bool,
    /// Flags of limits that became events since the firmware began.
    told_flags: AlertFlags,
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
            stopped: false,
            told: None,
            captured: false,
            captured_with: None,
            armed: None,
            kept: Kept::default(),
            masks_disturbed: false,
            watched: false,
            told_flags: AlertFlags::empty(),
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
        match ask {
            Ask::Resume(_) => self.restart(),
            Ask::SetLimits(_) if !self.watched => {
                self.scene.watch();
                self.watched = true;
            }
            _ => {}
        }
        self.answers = self.scene.register(IDENTITY, 4).is_some();
        let begun_us = self.scene.now_us();
        let setting = self.knows.or(self.captured_with).unwrap_or(&FAST);
        let longest_us = self.host.longest_us(ask, setting);
        self.scene.wiring.begin(plan);
        let pulled = [Outputs::A, Outputs::B].map(|output| self.scene.is_low(output));
        let outcome = self.host.ask(&self.scene, ask, &mut self.kept);
        let wiring = &self.scene.wiring;
        (self.shapes, self.waited) = (wiring.transfers(), wiring.waited());
        let disturbed = wiring.disturbed();

        let took_us = self.scene.now_us() - begun_us - wiring.away_us();
        assert!(
            took_us <= longest_us,
            "{ask:?} took {took_us} µs, {longest_us} at most"
        );
        judge::refusal(self, ask, &outcome);
        if plan.is_none() {
            judge::without_fault(self, ask, &outcome);
            match &outcome {
                Outcome::Proved(proof) if !self.meddled => judge::proof(self.knows, proof),
                Outcome::Answered(answer) if self.answers => {
                    judge::answer(pulled.contains(&true), answer);
                }
                _ => {}
            }
        }
        self.learn(ask, &outcome);
        let came_through = matches!(
            outcome,
            Outcome::Done | Outcome::Sampled(_) | Outcome::Proved(_)
        );
        let saves = self.knows.is_some() && came_through;
        self.meddled |= disturbed.is_some();
        self.stopped |= disturbed.is_some_and(|disturbed| disturbed.by_stranger);
        let jumped = self.scene.wiring.clock_jumped();
        self.kept.books.note_clock(jumped);
        match &outcome {
            Outcome::Failed(error) => judge::error(self, ask, error),
            Outcome::Sampled(seen) => {
                let (setting, latched) = judge::sample(self, seen, begun_us, plan.is_none());
                self.kept.books.judge(setting, seen, latched, jumped);
                self.scans = Some((seen.configuration, seen.scans));
            }
            Outcome::Fetched(codes) => judge::codes(self, codes),
            Outcome::Done | Outcome::Proved(_) | Outcome::Answered(_) | Outcome::Dropped => {}
        }
        judge::part(self, ask, &outcome, disturbed);
        self.judge_limits(ask, &outcome);
        if saves {
            self.kept.saved = Some(self.kept.books.save(self.host.token()));
        }
        self.scene.wiring.begin(None);
        outcome
    }

    /// Limits stand where the monitor says so; and no flag is cleared twice, nor for nothing.
    fn judge_limits(&mut self, ask: Ask, outcome: &Outcome) {
        let is_armed = self.host.is_armed();
        match (ask, outcome) {
            (Ask::SetLimits(setting), Outcome::Done) => {
                self.armed = Some(LimitSet::of(setting));
                assert!(is_armed, "limits were set");
            }
            (Ask::FetchCapture | Ask::AlertResponse, _) => {}
            (Ask::SetLimits(_), _) if !is_armed => self.armed = None,
            (
                Ask::SetLimits(_) | Ask::ReadAlerts | Ask::Service | Ask::ProofTest | Ask::Sample,
                _,
            ) if self.knows.is_some() => {}
            _ => self.armed = None,
        }
        assert_eq!(is_armed, self.armed.is_some(), "{ask:?}: {outcome:?}");
        match (ask, outcome) {
            (Ask::ProofTest, Outcome::Failed(_) | Outcome::Dropped) if is_armed => {
                self.masks_disturbed = true;
                let due = self.kept.queue.next_in();
                assert_eq!(due, Some(Duration::ZERO), "masks are to be put back");
            }
            (Ask::SetLimits(_), Outcome::Done)
            | (Ask::Service, Outcome::Sampled(_))
            | (Ask::ProofTest, Outcome::Proved(_)) => self.masks_disturbed = false,
            _ => {}
        }
        if let Some(limits) = self.armed
            && !self.meddled
            && !self.masks_disturbed
            && let Some(what) = limits.differs(&self.scene)
        {
            panic!("{ask:?}: the monitor is armed, but {what}");
        }
        let most_falls = match ask {
            Ask::SetLimits(_) | Ask::ReadAlerts | Ask::ProofTest => 1,
            // What a condition that is over has left is cleared besides.
            Ask::Service => 2,
            _ => 0,
        };
        let falls = self.scene.witness.borrow_mut().most_falls();
        assert!(falls <= most_falls, "{ask:?} cleared a flag {falls} times");
        while let Some(event) = self.kept.queue.next_event() {
            self.told_flags |= AlertFlags::of(event.flag());
        }
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
        if !self.watched {
            return;
        }
        let outcome = self.ask(Ask::SetLimits(&FAST), None);
        assert!(
            matches!(outcome, Outcome::Done),
            "limits after all: {outcome:?}"
        );
        for _ in 0..2 {
            let outcome = self.ask(Ask::Service, None);
            assert!(
                matches!(outcome, Outcome::Sampled(_)),
                "service after all: {outcome:?}"
            );
        }
        // Flags of limits are at the same bits in both (section 3.6).
        let fallen = AlertFlags::from_bits_retain(self.scene.witness.borrow().fallen.into());
        let silent = fallen.difference(self.told_flags);
        assert!(silent.is_empty(), "cleared and never told: {silent:?}");
        assert_eq!(self.kept.queue.dropped(), 0);
    }

    /// The firmware starts anew, and the part goes on.
    fn restart(&mut self) {
        self.host = Host::new(self.face, &self.scene);
        self.kept.queue = AlertQueue::new();
        if let Some(saved) = &self.kept.saved {
            (self.kept.books, self.kept.token) = saved.load();
        }
        self.told_flags = AlertFlags::empty();
        self.scene.witness.borrow_mut().fallen = 0;
        self.powered = true;
        self.knows = None;
        self.captured = false;
        self.armed = None;
        self.masks_disturbed = false;
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
            (Ask::Powered(on), _) => {
                (self.powered, self.knows, self.captured) = (on, None, false);
            }
            (Ask::Init(setting) | Ask::Configure(setting), Outcome::Done)
            | (Ask::Resume(setting), Outcome::Sampled(_)) => {
                (self.knows, self.told) = (Some(setting), Some(setting));
                self.stopped &= matches!(ask, Ask::Resume(_));
                match ask {
                    Ask::Resume(_) => self.configurations = self.kept.token.configuration,
                    _ => self.configurations += 1,
                }
                self.meddled = false;
                self.captured = false;
            }
            (Ask::StartCapture(_), _) if !refused => {
                self.captured_with = self.knows;
                (self.knows, self.told) = (None, None);
                self.captured = matches!(outcome, Outcome::Done);
                self.meddled = false;
            }
            (Ask::FetchCapture, _) => {
                self.captured &= !matches!(fault, Some(Fault::Reset | Fault::Changed));
            }
            (Ask::StartCapture(_), _) => {}
            // An operation that changes the part and did not come through.
            (Ask::Init(_) | Ask::Configure(_), _) if !refused => {
                (self.knows, self.told, self.captured) = (None, None, false);
            }
            (Ask::Resume(_), _) if !refused => {
                (self.knows, self.captured) = (None, false);
                self.told = self.told.filter(|told| told.run != SHOT.run);
            }
            (Ask::Init(_) | Ask::Configure(_) | Ask::Resume(_), _) => {}
            (Ask::Sample | Ask::Service, Outcome::Sampled(_)) => {}
            (Ask::AlertResponse, _) | (Ask::ProofTest, Outcome::Proved(_)) => {}
            (
                Ask::SetLimits(_) | Ask::ReadAlerts | Ask::Sample | Ask::Service | Ask::ProofTest,
                _,
            ) => {
                if !refused && !matches!(outcome, Outcome::Done) {
                    // What was begun may have counted as a write.
                    self.told = None;
                }
                let gone = [Fault::Reset, Fault::Changed, Fault::NotConfigured];
                if fault.is_some_and(|fault| gone.contains(&fault)) {
                    self.knows = None;
                }
            }
        }
    }
}
