//! The parts that a run can have: what is put on the bench, and the driver's map for it.

use core::any::Any;

use crake::config::{Outputs, Scan};
use crake::part::{Part as Map, corncrake, moorhen, pmbus};
use crake::{Call, Monitor};

use super::RunError;
use super::board;
use super::firmware::{Busy, Setup};
use super::host::HostClock;
use super::service::{self, Ground};
use super::station::Station;
use crate::bench::{Bench, BenchError, Line, Part, Witness};
use crate::part::{self as model, AlertOutputs, Order, pmbus::Description};
use crate::scenario::{Errors, PartKind, PartPlan, Scenario};

/// A kind of part as a run has it: its model, and the driver's map of its `N` channels. Of one's
/// own as well:
///
/// ```
/// use crake::part::moorhen::{Address, Moorhen};
/// use crake_sim::part::moorhen;
/// use crake_sim::run::{Fitting, PARTS, Silent, run_with};
/// use crake_sim::scenario::{Errors, PartKind, Scenario};
///
/// // Another word for a part that is there: with a model and a map of your own it is the same.
/// static MINE: PartKind = PartKind { word: "mine", ..PartKind::MOORHEN };
/// let fitting = Fitting::<_, _, 2> {
///     kind: &MINE,
///     order: |address, errors| match errors {
///         Errors::Individual => Some(moorhen::Moorhen::new(address)),
///         Errors::None => Some(moorhen::Moorhen::ideal(address)),
///     },
///     map: |_| Moorhen::new(Address::Strap0),
///     outputs: &[moorhen::Output::Alert],
/// };
/// let text = r#"
/// title = "A rail of 1 A at 5 V"
/// duration_s = 2
/// [[rail]]
/// name = "MAIN"
/// sense.resistance_ohm = 0.03
/// source.voltage_v = 5
/// load.current_a = 1
/// "#;
/// let scenario = Scenario::parse_with(&[&MINE], text, "mine.toml")?;
/// let report = run_with(&[&fitting], &scenario, 1, &mut Silent)?;
/// assert!(report.verdict.holds);
/// assert_eq!(report.parts[0].by_driver, ["power", "charge sum", "energy sum"]);
/// # let _ = PARTS;
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub struct Fitting<O: Order, P: Map, const N: usize>
where
    O::Model: AlertOutputs,
{
    /// What a scenario knows of it.
    pub kind: &'static PartKind,
    /// Its order at a 7-bit address; None where it cannot be built.
    pub order: fn(u8, Errors) -> Option<O>,
    /// The driver's map of it at that address.
    pub map: fn(u8) -> P,
    /// Its alert output A, and B.
    pub outputs: &'static [<O::Model as AlertOutputs>::Output],
}

/// A [`Fitting`] of whatever part.
pub trait Fit {
    /// What a scenario knows of it.
    fn kind(&self) -> &'static PartKind;

    /// The scenario's part at this place, on the bench with its rails.
    #[doc(hidden)]
    fn put(
        &self,
        bench: &Bench,
        scenario: &Scenario,
        place: usize,
    ) -> Result<Box<dyn Seat>, RunError>;
}

/// The parts of this crate.
pub const PARTS: [&dyn Fit; 3] = [&CORNCRAKE, &MOORHEN, &GALLINULE];

const CORNCRAKE: Fitting<model::corncrake::Corncrake, corncrake::Corncrake, 4> = Fitting {
    kind: &PartKind::CORNCRAKE,
    order: |address, errors| {
        Some(match errors {
            Errors::Individual => model::corncrake::Corncrake::new(address),
            Errors::None => model::corncrake::Corncrake::ideal(address),
        })
    },
    map: |address| {
        use corncrake::Address;

        corncrake::Corncrake::new(match address {
            0x33 => Address::Strap1,
            0x34 => Address::Strap2,
            0x35 => Address::Strap3,
            _ => Address::Strap0,
        })
    },
    outputs: &[model::corncrake::Output::A, model::corncrake::Output::B],
};

const MOORHEN: Fitting<model::moorhen::Moorhen, moorhen::Moorhen, 2> = Fitting {
    kind: &PartKind::MOORHEN,
    order: |address, errors| {
        Some(match errors {
            Errors::Individual => model::moorhen::Moorhen::new(address),
            Errors::None => model::moorhen::Moorhen::ideal(address),
        })
    },
    map: |address| {
        use moorhen::Address;

        moorhen::Moorhen::new(match address {
            0x31 => Address::Strap1,
            _ => Address::Strap0,
        })
    },
    outputs: &[model::moorhen::Output::Alert],
};

const GALLINULE: Fitting<model::pmbus::Device, pmbus::gallinule::Gallinule, 4> = Fitting {
    kind: &PartKind::GALLINULE,
    order: |address, errors| {
        let device = match errors {
            Errors::Individual => model::pmbus::Device::new,
            Errors::None => model::pmbus::Device::ideal,
        };
        device(Description::gallinule(), address).ok()
    },
    map: pmbus::gallinule::Gallinule::new,
    outputs: &[model::pmbus::SmbAlert],
};

/// A part on the bench of a run.
#[derive(Clone, Copy)]
pub struct OnBench<'r> {
    /// What the scenario says of it.
    pub plan: &'r PartPlan,
    pub(super) seat: &'r dyn Seat,
}

impl OnBench<'_> {
    /// The part, if its model is this one.
    #[must_use]
    pub fn part<M: AlertOutputs>(&self) -> Option<&Part<M>> {
        self.seat.part().downcast_ref()
    }
}

/// A part on its bench, its rails behind it, with all that the driver needs for it.
pub trait Seat {
    fn part(&self) -> &dyn Any;

    /// Conversions so far, and energy that the part itself drew, in joules.
    fn spent(&self) -> (u64, f64);

    /// Builds firmware for it and hands it to `next`.
    fn enter(
        &self,
        setup: &Setup<'_>,
        next: &mut dyn FnMut(&mut dyn Station) -> Result<(), RunError>,
    ) -> Result<(), RunError>;
}

impl<O: Order, P: Map + Clone + 'static, const N: usize> Fit for Fitting<O, P, N>
where
    O::Model: AlertOutputs,
{
    fn kind(&self) -> &'static PartKind {
        self.kind
    }

    fn put(
        &self,
        bench: &Bench,
        scenario: &Scenario,
        place: usize,
    ) -> Result<Box<dyn Seat>, RunError> {
        let plan = &scenario.parts[place];
        let order = (self.order)(plan.fitted_address, plan.errors);
        let part = bench.part(order.ok_or(BenchError::NoSuchAddress(plan.fitted_address))?)?;
        for rail in scenario.rails_of(place) {
            let mut rng = bench.rng(&format!("sense resistor of {}", rail.name));
            let resistor = board::resistor(rail, scenario, &mut rng);
            part.rail(usize::from(rail.channel), rail.rail()?, resistor)?;
        }
        let outputs = self
            .outputs
            .iter()
            .map(|output| bench.alert(&part, *output));
        let lines = [Outputs::A, Outputs::B].into_iter().zip(outputs).collect();
        let map = (self.map)(plan.address);
        Ok(Box::new(Seated::<_, _, N> { part, map, lines }))
    }
}

struct Seated<M, P, const N: usize> {
    part: Part<M>,
    map: P,
    lines: Vec<(Outputs, Line)>,
}

impl<M: AlertOutputs, P: Map + Clone, const N: usize> Seat for Seated<M, P, N> {
    fn part(&self) -> &dyn Any {
        &self.part
    }

    fn spent(&self) -> (u64, f64) {
        let energy_j = self.part.supply_energy_na_mv_ns() as f64 / 1e21;
        (self.part.conversions(), energy_j)
    }

    fn enter(
        &self,
        setup: &Setup<'_>,
        next: &mut dyn FnMut(&mut dyn Station) -> Result<(), RunError>,
    ) -> Result<(), RunError> {
        let rails = board::rails::<N>(setup.scenario, setup.place);
        let board = board::board(P::INFO, setup.scenario, &rails);
        let config = board::config(setup.scenario, setup.place);
        let mut scan = Scan::NONE;
        // What cannot be is refused by the set-up, with the name of the rail.
        let _ = P::resolve(&config, &mut scan);
        let monitor = |map| Monitor::new(setup.bench.i2c(), setup.bench.delay(), map, &board);
        let mut once = monitor(self.map.clone());
        once.set_attempts(1);
        let seconds = |call| {
            let us = once.worst_case_us(call, &config, setup.scenario.bus_hz);
            us.unwrap_or_default() as f64 / 1e6
        };
        let look_s = seconds(Call::ReadAlerts) + seconds(Call::SetMasks);
        let busy = Busy {
            reading_s: seconds(Call::Sample) + look_s,
            service_s: seconds(Call::Service),
        };
        let witness = Witness::new(&self.part);
        let clock = HostClock::new(setup.bench.clock(), setup.clock_error_ppb);
        let monitor = monitor(self.map.clone()).with_clock(witness.clock(clock));
        let ground = Ground {
            info: P::INFO,
            rails: &rails,
            board: &board,
            config,
            scan,
            lines: &self.lines,
            busy,
        };
        service::enter(setup, monitor, ground, witness, next)
    }
}
