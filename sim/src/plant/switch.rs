use alloc::{
    collections::VecDeque,
    rc::{Rc, Weak},
    vec::Vec,
};
use core::{
    cell::{Cell, RefCell},
    convert::Infallible,
    fmt,
};

use embedded_hal::digital::{ErrorType, OutputPin, PinState, StatefulOutputPin};

use super::{Bounds, PlantError, Profile, Section};
use crate::bus::Clock;

/// A switch on the board that firmware drives through a pin: high closes it, low opens it.
///
/// Clones are the same switch; it may stand in any number of [`Switched`](super::Switched) rails.
/// It acts at the present moment of the bench whose clock it was given, without delay and bounce.
#[derive(Clone)]
pub struct Switch {
    clock: Clock,
    state: Rc<State>,
}

struct State {
    commanded: Cell<bool>,
    stuck: Cell<Option<bool>>,
    contacts: RefCell<Vec<Weak<Contact>>>,
}

impl Switch {
    /// A switch that is open.
    pub fn open(clock: Clock) -> Self {
        Self::new(clock, false)
    }

    /// A switch that is closed. Its loads had their inrush before time 0.
    pub fn closed(clock: Clock) -> Self {
        Self::new(clock, true)
    }

    fn new(clock: Clock, closed: bool) -> Self {
        Self {
            clock,
            state: Rc::new(State {
                commanded: Cell::new(closed),
                stuck: Cell::new(None),
                contacts: RefCell::default(),
            }),
        }
    }

    /// Whether current can flow, whatever the pin says.
    pub fn is_closed(&self) -> bool {
        self.state.stuck.get().unwrap_or(self.state.commanded.get())
    }

    /// A fault: from now on the switch stays closed (welded) or open, whatever the pin says.
    pub fn stick(&self, closed: bool) {
        self.change(|state| state.stuck.set(Some(closed)));
    }

    /// Ends the fault that [`stick`](Self::stick) began: the pin counts again.
    pub fn mend(&self) {
        self.change(|state| state.stuck.set(None));
    }

    /// A contact that is as the switch is now, and as it was before, as far as anybody can tell.
    pub(super) fn contact(&self) -> Rc<Contact> {
        let contact = Rc::new(Contact {
            closed: Cell::new(self.is_closed()),
            closed_at_ns: Cell::new(None),
            changes: RefCell::default(),
        });
        let contacts = &self.state.contacts;
        contacts.borrow_mut().push(Rc::downgrade(&contact));
        contact
    }

    fn change(&self, act: impl FnOnce(&State)) {
        let before = self.is_closed();
        act(&self.state);
        let closed = self.is_closed();
        if closed != before {
            let at_ns = self.clock.now_ns();
            for contact in self.state.contacts.borrow().iter() {
                if let Some(contact) = contact.upgrade() {
                    contact.changes.borrow_mut().push_back((at_ns, closed));
                }
            }
        }
    }
}

impl fmt::Debug for Switch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = |closed| if closed { "closed" } else { "open" };
        write!(f, "Switch({}", word(self.is_closed()))?;
        if self.state.stuck.get().is_some() {
            write!(f, ", stuck; pin: {}", word(self.state.commanded.get()))?;
        }
        f.write_str(")")
    }
}

impl ErrorType for Switch {
    type Error = Infallible;
}

impl OutputPin for Switch {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.set_state(PinState::Low)
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.set_state(PinState::High)
    }

    fn set_state(&mut self, state: PinState) -> Result<(), Infallible> {
        self.change(|switch| switch.commanded.set(state == PinState::High));
        Ok(())
    }
}

/// What the pin is set to, which a stuck switch does not follow.
impl StatefulOutputPin for Switch {
    fn is_set_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.state.commanded.get())
    }

    fn is_set_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.state.commanded.get())
    }
}

/// A pulse of current on closing, on top of the load: it begins at its peak and falls straight to
/// nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Inrush {
    /// Nanoamperes at the moment of closing.
    pub peak_na: i64,
    /// Nanoseconds from closing to nothing, at least 1.
    pub length_ns: u64,
}

/// What a switch is on one rail, as far as the rail has come.
pub(super) struct Contact {
    closed: Cell<bool>,
    /// When it was closed last, if that was after time 0.
    closed_at_ns: Cell<Option<u64>>,
    /// Changes that the rail has not come to yet.
    changes: RefCell<VecDeque<(u64, bool)>>,
}

impl Contact {
    /// A contact of no switch: it closes and opens by itself.
    pub(super) fn between(closes_ns: u64, opens_ns: u64) -> Rc<Self> {
        let mut changes = VecDeque::from([(opens_ns, false)]);
        if (1..opens_ns).contains(&closes_ns) {
            changes.push_front((closes_ns, true));
        }
        Rc::new(Self {
            closed: Cell::new(closes_ns == 0),
            closed_at_ns: Cell::new(None),
            changes: RefCell::new(changes),
        })
    }

    pub(super) fn is_closed(&self) -> bool {
        self.closed.get()
    }

    pub(super) fn next_change_ns(&self) -> Option<u64> {
        self.changes.borrow().front().map(|change| change.0)
    }

    /// Comes to the changes until `at_ns`, which is the moment of the next one if there is any.
    pub(super) fn come_to(&self, at_ns: u64) {
        let mut changes = self.changes.borrow_mut();
        while let Some(&(changed_ns, closed)) = changes.front().filter(|change| change.0 <= at_ns) {
            changes.pop_front();
            self.closed.set(closed);
            self.closed_at_ns.set(closed.then_some(changed_ns));
        }
    }
}

/// A load behind a contact, without its inrush.
pub(super) struct Gate<P> {
    pub(super) contact: Rc<Contact>,
    pub(super) load: P,
}

impl<P: Profile> Profile for Gate<P> {
    fn section(&self, at_ns: u64) -> Section {
        if self.contact.is_closed() {
            self.load.section(at_ns)
        } else {
            Section::flat(at_ns, u64::MAX, 0)
        }
    }

    fn bounds(&self) -> Bounds {
        let Bounds { least, greatest } = self.load.bounds();
        Bounds {
            least: least.min(0),
            greatest: greatest.max(0),
        }
    }
}

/// The inrush of a load behind a contact.
pub(super) struct Surge {
    contact: Rc<Contact>,
    inrush: Inrush,
}

impl Surge {
    pub(super) fn new(contact: Rc<Contact>, inrush: Inrush) -> Result<Self, PlantError> {
        if inrush.length_ns == 0 {
            return Err(PlantError::PulseShape);
        }
        Bounds::of([inrush.peak_na])?;
        Ok(Self { contact, inrush })
    }
}

impl Profile for Surge {
    fn section(&self, at_ns: u64) -> Section {
        let Some(from_ns) = self.contact.closed_at_ns.get() else {
            return Section::flat(at_ns, u64::MAX, 0);
        };
        let to_ns = from_ns.saturating_add(self.inrush.length_ns);
        if at_ns >= to_ns {
            return Section::flat(to_ns, u64::MAX, 0);
        }
        Section {
            from_ns,
            to_ns,
            start: self.inrush.peak_na,
            end: 0,
        }
    }

    fn bounds(&self) -> Bounds {
        Bounds {
            least: self.inrush.peak_na.min(0),
            greatest: self.inrush.peak_na.max(0),
        }
    }
}
