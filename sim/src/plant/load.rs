use alloc::{boxed::Box, rc::Rc};

use super::branch::Law;
use super::charger::Level;
use super::switch::Contact;
use super::{Charger, Converter, Inrush, PlantError, Profile, Switch, Switched};

/// One of the loads of a [`Switched`] rail.
///
/// ```
/// use crake_sim::plant::{Cell, Charger, Constant, Converter, Load, Plant, Source, Switched};
///
/// // 3.3 V behind 0.1 Ω, for 33 Ω and a constant 1 W: what a converter puts out.
/// let source = Source::of(Constant::new(3_300_000_000)?).behind_microohms(100_000)?;
/// let loads = vec![
///     Load::resistance(33_000_000)?,
///     Load::power(1_000_000_000, 2_500_000_000)?,
/// ];
/// let logic = Switched::new(source, loads)?;
///
/// // Its input is on a pack that is also charged, and that from 2 s on feeds a capacitor of 1 mF
/// // behind 5 Ω.
/// let converter = Converter {
///     efficiency_ppm: 850_000,
///     idle_nw: 2_000_000,
///     least_input_nv: 6_000_000_000,
/// };
/// let charger = Charger {
///     trickle_na: 100_000_000,
///     trickle_below_nv: 9_000_000_000,
///     bulk_na: 1_000_000_000,
///     full_nv: 12_600_000_000,
///     least_na: 100_000_000,
/// };
/// let table = [(0, 9_000_000_000), (1_000_000, 12_600_000_000)];
/// let pack = Source::cell(Cell::new(2_000_000, 500_000, &table)?).behind_microohms(200_000)?;
/// let loads = vec![
///     Load::converter(converter, logic)?,
///     Load::charger(charger)?,
///     Load::capacitor(1_000_000_000, 5_000_000, 0)?.between(2_000_000_000, u64::MAX),
/// ];
/// let mut pack = Switched::new(pack, loads)?;
///
/// let charging = pack.window(1_000_000_000, 1_000_100_000).current_na;
/// assert!((-0.9e9..-0.8e9).contains(&charging));
/// let inrush = pack.window(2_000_000_000, 2_000_100_000).current_na;
/// assert!((1.1e9..1.4e9).contains(&inrush));
/// # Ok::<(), crake_sim::plant::PlantError>(())
/// ```
pub struct Load {
    pub(super) draws: Draws,
    pub(super) contact: Option<Rc<Contact>>,
    pub(super) inrush: Option<Inrush>,
}

/// What a load draws.
pub(super) enum Draws {
    Profile(Box<dyn Profile>),
    Charger(Charger, Rc<Level>),
    Branch(Law),
}

impl Load {
    const fn new(draws: Draws) -> Self {
        Self {
            draws,
            contact: None,
            inrush: None,
        }
    }

    fn branch(law: Law) -> Result<Self, PlantError> {
        Ok(Self::new(Draws::Branch(law.checked()?)))
    }

    /// A load that draws `profile`, in nanoamperes. The profile's time is the bench's, whether the
    /// load is on or off.
    pub fn of(profile: impl Profile + 'static) -> Self {
        Self::new(Draws::Profile(Box::new(profile)))
    }

    /// A resistance of so many microohms.
    ///
    /// # Errors
    /// [`PlantError::Resistance`] unless it is 1 mΩ to 1 GΩ.
    pub fn resistance(uohm: u64) -> Result<Self, PlantError> {
        Self::branch(Law::Resistance(uohm))
    }

    /// A constant power of `nw` nanowatts while the voltage at the load is at least `least_nv`
    /// nanovolts; below, the resistance that takes that power at `least_nv`.
    ///
    /// A source with an impedance can feed a power at two voltages, or at none: the upper one
    /// holds, or the resistance.
    ///
    /// # Errors
    /// [`PlantError::Power`] beyond 1 kW, [`PlantError::LeastVoltage`] unless `least_nv` is 1 µV to
    /// 1 kV.
    pub fn power(nw: u64, least_nv: u64) -> Result<Self, PlantError> {
        Self::branch(Law::Power { nw, least_nv })
    }

    /// A capacitor of `pf` picofarads behind `series_uohm` microohms, at `initial_nv` nanovolts at
    /// time 0: the inrush of whatever it stands for. While its switch is open it keeps its charge.
    ///
    /// It follows the exponential within 0.02 % of its peak, and its charge is exact: no more flows
    /// than it takes to charge it.
    ///
    /// # Errors
    /// [`PlantError::Resistance`] unless the series resistance is 1 mΩ to 1 GΩ,
    /// [`PlantError::Capacitor`] beyond 1000 F and for a time constant, capacitance × series
    /// resistance, below 1 µs, [`PlantError::Value`] for a voltage beyond ±1 kV.
    pub fn capacitor(pf: u64, series_uohm: u64, initial_nv: i64) -> Result<Self, PlantError> {
        Self::branch(Law::capacitor(pf, series_uohm, initial_nv))
    }

    /// The input of a converter that feeds `output`: the rail that is measured there, built once
    /// more with the same switches.
    ///
    /// # Errors
    /// [`PlantError::Efficiency`] unless that is 1 % to 100 %, [`PlantError::Power`] for more than
    /// 1 kW of idle power, [`PlantError::LeastVoltage`] unless that is 1 µV to 1 kV.
    pub fn converter(converter: Converter, output: Switched) -> Result<Self, PlantError> {
        Self::branch(Law::converter(converter, output))
    }

    /// A charger that feeds its current back into the rail's source.
    ///
    /// # Errors
    /// [`PlantError::Value`] for a current or voltage of it beyond ±10^12 and for a negative
    /// current.
    pub fn charger(charger: Charger) -> Result<Self, PlantError> {
        let charger = charger.checked()?;
        let level = Rc::new(Level::new(&charger));
        Ok(Self::new(Draws::Charger(charger, level)))
    }

    /// The same behind a switch, in place of one before. Up to the moment of this call the switch
    /// counts as always having been as it is then.
    #[must_use]
    pub fn behind(mut self, switch: &Switch) -> Self {
        self.contact = Some(switch.contact());
        self
    }

    /// The same behind a switch of its own that closes at `closes_ns` and opens for good at
    /// `opens_ns` (`u64::MAX`: never), in place of one before. Closed from time 0 on, it counts as
    /// closed always.
    #[must_use]
    pub fn between(mut self, closes_ns: u64, opens_ns: u64) -> Self {
        self.contact = Some(Contact::between(closes_ns, opens_ns));
        self
    }

    /// The same with an inrush each time its switch closes; without effect for a load that has no
    /// switch.
    #[must_use]
    pub fn with_inrush(mut self, inrush: Inrush) -> Self {
        self.inrush = Some(inrush);
        self
    }
}
