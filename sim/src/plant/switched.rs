use alloc::{boxed::Box, rc::Rc, vec::Vec};

use super::branch::{Branch, Law};
use super::charger::{Level, REGULATES_EVERY_NS};
use super::switch::{Contact, Gate, Surge};
use super::{
    Bounds, Charger, Constant, Converter, Extremes, Inrush, Means, Piece, Plant, PlantError,
    Profile, Rail, Source, Sum, Switch, Truth,
};

/// A rail whose loads, or whose source, firmware switches while the bench runs.
///
/// The current changes at the nanosecond of the switching and not before or after; the rail's
/// pieces are cut there, and the truth stays exact (each cut rounds the totals once, to half of
/// 1e-18 C and a sixth of 1e-27 J). A conversion in progress averages both sides. Everything else
/// is as on a [`Rail`].
///
/// ```
/// # fn main() -> Result<(), Box<dyn core::error::Error>> {
/// use core::time::Duration;
/// use crake_sim::{
///     bench::Bench, board::SenseResistor, part::corncrake::Corncrake,
///     plant::{Constant, Load, Source, Switch, Switched},
/// };
/// use embedded_hal::digital::OutputPin;
///
/// let bench = Bench::new(1);
/// let part = bench.part(Corncrake::new(0x32))?;
/// let mut radio = Switch::closed(bench.clock());
/// let rail = Switched::new(
///     Source::of(Constant::new(3_300_000_000)?),
///     vec![
///         Load::of(Constant::new(1_000)?),
///         Load::of(Constant::new(20_000_000)?).behind(&radio),
///     ],
/// )?;
/// part.rail(0, rail, SenseResistor::ideal(100_000_000))?;
///
/// bench.run_for(Duration::from_millis(2));
/// radio.set_low()?; // firmware sheds the load
/// bench.run_for(Duration::from_millis(2));
/// let charge = part.truth(0)?.charge_half_na_ns / 2;
/// assert_eq!(charge, 20_001_000 * 2_000_000 + 1_000 * 2_000_000);
/// # Ok(())
/// # }
/// ```
pub struct Switched {
    rail: Rail,
    contacts: Vec<Rc<Contact>>,
    feed: Option<Rc<Contact>>,
    regulators: Vec<(Charger, Rc<Level>)>,
    /// When chargers look at the source next.
    regulates_at_ns: u64,
}

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
    draws: Draws,
    contact: Option<Rc<Contact>>,
    inrush: Option<Inrush>,
}

enum Draws {
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
        Self::branch(Law::Capacitor {
            pf,
            series_uohm,
            initial_nv,
        })
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

impl Switched {
    /// A rail on which `source` feeds `loads`.
    ///
    /// # Errors
    /// [`PlantError::Empty`] without loads, [`PlantError::PulseShape`] for an inrush of no length,
    /// [`PlantError::Value`] or [`PlantError::Current`] if all loads and inrushes together, or some
    /// of them, could be beyond ±1 kA, [`PlantError::Voltage`] as [`Rail::new`].
    pub fn new(source: Source, loads: Vec<Load>) -> Result<Self, PlantError> {
        let mut contacts = Vec::new();
        let mut regulators = Vec::new();
        let mut branches = Vec::new();
        let mut profiles: Vec<Box<dyn Profile>> = Vec::new();
        let is_empty = loads.is_empty();
        for Load {
            draws,
            contact,
            inrush,
        } in loads
        {
            contacts.extend(contact.clone());
            if let (Some(contact), Some(inrush)) = (&contact, inrush) {
                profiles.push(Box::new(Surge::new(contact.clone(), inrush)?));
            }
            let load: Box<dyn Profile> = match draws {
                Draws::Branch(law) => {
                    branches.push(Branch::new(law, contact));
                    continue;
                }
                Draws::Profile(profile) => profile,
                Draws::Charger(charger, level) => {
                    regulators.push((charger, level.clone()));
                    Box::new(level)
                }
            };
            profiles.push(match contact {
                None => load,
                Some(contact) => Box::new(Gate { contact, load }),
            });
        }
        if is_empty {
            return Err(PlantError::Empty);
        }
        if profiles.is_empty() {
            profiles.push(Box::new(Constant::new(0)?));
        }
        let load = Box::new(Sum::new(profiles)?);
        Ok(Self {
            rail: Rail::with_branches(source, load, branches)?,
            contacts,
            feed: None,
            regulators,
            regulates_at_ns: 0,
        })
    }

    /// The same with its source behind a switch: while that is open nothing flows and no voltage
    /// stands at the load.
    #[must_use]
    pub fn fed_through(mut self, switch: &Switch) -> Self {
        let contact = switch.contact();
        self.rail.connect(contact.is_closed());
        self.rail.renew(0, 0);
        self.contacts.push(contact.clone());
        self.feed = Some(contact);
        self
    }

    /// As [`Rail::extremes`].
    pub fn extremes(&mut self, at_ns: u64) -> Extremes {
        self.come_to(at_ns, at_ns);
        self.rail.extremes(at_ns)
    }

    /// As [`Rail::cell_left_half_na_ns`].
    pub fn cell_left_half_na_ns(&mut self, at_ns: u64) -> Option<i128> {
        self.come_to(at_ns, at_ns);
        self.rail.cell_left_half_na_ns(at_ns)
    }

    /// The piece that holds from `at_ns` on, up to the next moment that is known to change the
    /// rail: firmware may change it before. None if it lies too far back, as with [`Rail::piece`].
    pub fn piece(&mut self, at_ns: u64) -> Option<Piece> {
        self.come_to(at_ns, at_ns);
        let piece = self.rail.piece_from(at_ns)?;
        let next_ns = self.next_change_ns().filter(|&ns| ns > piece.from_ns);
        Some(next_ns.map_or(piece, |ns| piece.cut(ns)))
    }

    /// Least and greatest current, in nanoamperes, that it could ever have.
    pub fn bounds(&self) -> Bounds {
        self.rail.bounds()
    }

    /// Impedance of its source in microohms.
    pub const fn impedance_uohm(&self) -> u64 {
        self.rail.source().impedance_uohm()
    }

    /// Greatest current and open-circuit voltage that it could ever have, in nanoamperes and
    /// nanovolts.
    pub(super) fn greatest(&self) -> (i64, i64) {
        (self.bounds().greatest, self.rail.source().bounds().greatest)
    }

    /// Makes the rail's trajectory right up to `at_ns`; questions from `from_ns` on must still find
    /// it.
    fn come_to(&mut self, from_ns: u64, at_ns: u64) {
        while let Some(next_ns) = self.next_change_ns().filter(|&ns| ns <= at_ns) {
            self.rail.advance(from_ns, next_ns);
            for contact in &self.contacts {
                contact.come_to(next_ns);
            }
            if let Some(feed) = &self.feed {
                self.rail.connect(feed.is_closed());
            }
            // Later only if the rail was asked about what lies beyond its switches' clock.
            let changed_ns = next_ns.max(self.rail.changeable_from_ns());
            if !self.regulators.is_empty() && next_ns == self.regulates_at_ns {
                let (open_nv, impedance_uohm) = self.rail.feed(changed_ns);
                for (charger, level) in &self.regulators {
                    level.set(charger.current_na(open_nv, impedance_uohm));
                }
                self.regulates_at_ns = next_ns.saturating_add(REGULATES_EVERY_NS);
            }
            self.rail.renew(from_ns, changed_ns);
        }
    }

    pub(super) fn next_change_ns(&self) -> Option<u64> {
        let regulates = (!self.regulators.is_empty()).then_some(self.regulates_at_ns);
        let changes = self.contacts.iter().map(|contact| contact.next_change_ns());
        let of_others = self.rail.next_change_ns();
        changes.chain([regulates, of_others]).flatten().min()
    }
}

impl Plant for Switched {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        self.come_to(from_ns, to_ns);
        self.rail.window(from_ns, to_ns)
    }

    fn truth(&mut self, at_ns: u64) -> Truth {
        self.come_to(at_ns, at_ns);
        self.rail.truth(at_ns)
    }
}
