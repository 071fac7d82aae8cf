use alloc::{boxed::Box, rc::Rc, vec::Vec};

use super::branch::Branch;
use super::charger::{Level, REGULATES_EVERY_NS};
use super::load::{Draws, Load};
use super::switch::{Contact, Gate, Surge};
use super::{
    Bounds, Charger, Constant, Extremes, Means, Piece, Plant, PlantError, Profile, Rail, Source,
    Sum, Switch, Truth,
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
    /// Nothing changes it from outside: a window, of which there are millions, need not ask.
    is_left_alone: bool,
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
        let is_left_alone = contacts.is_empty() && regulators.is_empty() && branches.is_empty();
        let load = Box::new(Sum::new(profiles)?);
        Ok(Self {
            rail: Rail::with_branches(source, load, branches)?,
            contacts,
            feed: None,
            regulators,
            regulates_at_ns: 0,
            is_left_alone,
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
        self.is_left_alone = false;
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
        Some(self.next_change_ns().map_or(piece, |ns| piece.cut(ns)))
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
        if !self.is_left_alone {
            self.come_to(from_ns, to_ns);
        }
        self.rail.window(from_ns, to_ns)
    }

    fn truth(&mut self, at_ns: u64) -> Truth {
        self.come_to(at_ns, at_ns);
        self.rail.truth(at_ns)
    }
}
