use alloc::{boxed::Box, format, rc::Rc, vec::Vec};
use core::{
    any::Any,
    cell::{Cell, RefCell},
    convert::Infallible,
    fmt,
};

use embedded_hal::digital::{ErrorType, InputPin, PinState};

use super::{Bench, Part};
use crate::{bus::Watcher, part::AlertOutputs};

/// An open-drain line with a pull-up: low while any output that is wired to it pulls, high
/// otherwise.
///
/// Clones are the same line, and firmware's input pin. Its edges fall exactly where the parts make
/// them: at the end of a conversion, at the STOP of a write, at the last bit of an alert response.
///
/// ```
/// # fn main() -> Result<(), Box<dyn core::error::Error>> {
/// use crake_sim::{bench::Bench, part::corncrake::{Corncrake, Output}};
/// use embedded_hal::{digital::InputPin, i2c::I2c};
///
/// let bench = Bench::new(1);
/// let (one, other) = (bench.part(Corncrake::new(0x32))?, bench.part(Corncrake::new(0x33))?);
/// let mut alert = bench.line();
/// alert.wire(&one, Output::A);
/// alert.wire(&other, Output::A);
/// assert!(alert.is_high()?);
///
/// // "Reset seen" is set after power-up: let it reach output A.
/// bench.i2c().write(0x33, &[0x35, 0x40, 0x00, 0x00])?;
/// assert!(alert.is_low()?);
/// # Ok(())
/// # }
/// ```
#[derive(Clone)]
pub struct Line {
    bench: Bench,
    node: Rc<Node>,
}

/// A change of a line's level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edge {
    /// When, in nanoseconds of the bench's clock.
    pub at_ns: u64,
    /// To which level.
    pub to: PinState,
}

impl Line {
    pub(super) fn new(bench: Bench, node: Rc<Node>) -> Self {
        Self { bench, node }
    }

    /// Connects an output of a part of this bench, besides those already connected, of whatever
    /// parts. An output may be wired to several lines, as if behind buffers.
    pub fn wire<M: AlertOutputs>(&self, part: &Part<M>, output: M::Output) {
        let pull = Box::new(Wired {
            part: part.clone(),
            output,
        });
        self.node.pulls.borrow_mut().push(pull);
    }

    /// The level at present.
    pub fn level(&self) -> PinState {
        self.node.level()
    }

    /// A fault: from now on the line shows this level, whatever the parts do. Stuck low is a short
    /// to ground, stuck high a broken wire behind which the pull-up is left. With a time of its
    /// own: [`LineStuck`](crate::fault::FaultKind::LineStuck).
    pub fn stick(&self, level: PinState) {
        self.node.stick(Some(level));
    }

    /// Ends the fault that [`stick`](Self::stick) began.
    pub fn mend(&self) {
        self.node.stick(None);
    }

    /// Keeps edges from now on, or stops keeping them; those already kept stay.
    ///
    /// While they are kept the bench stops at each event of each part, which about doubles what an
    /// hour of virtual time costs.
    pub fn set_recording(&self, record: bool) {
        self.look();
        *self.node.recording.borrow_mut() = record.then(|| self.watch());
    }

    /// The edges kept since the last call, oldest first. Nothing is kept before
    /// [`set_recording`](Self::set_recording).
    pub fn edges(&self) -> Vec<Edge> {
        self.look();
        self.node.edges.take()
    }

    /// Falls and rises that were seen while anybody watched.
    pub(super) fn counts(&self) -> Counts {
        self.node.counts.get()
    }

    pub(super) fn watch(&self) -> Watch {
        Watch::new(&self.bench.lines.watches)
    }

    /// Notices what was done to the line or its parts since time last moved.
    pub(super) fn look(&self) {
        self.node.look(self.bench.now_ns());
    }

    /// Whether a part may change the level without being written to.
    pub(super) fn is_alive(&self) -> bool {
        let pulls = self.node.pulls.borrow();
        self.node.stuck.get().is_none() && pulls.iter().any(|pull| pull.obstacle().is_none())
    }

    pub(super) fn bench(&self) -> &Bench {
        &self.bench
    }
}

impl ErrorType for Line {
    type Error = Infallible;
}

impl InputPin for Line {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.level() == PinState::High)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(self.level() == PinState::Low)
    }
}

/// The name of a line is what is wired to it, each with what keeps it from pulling, if anything
/// does.
impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.node.fmt(f)
    }
}

impl fmt::Debug for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Line({self} is {:?})", self.level())
    }
}

/// What a line is, apart from the bench that it is on.
#[derive(Default)]
pub(super) struct Node {
    pulls: RefCell<Vec<Box<dyn Pull>>>,
    stuck: Cell<Option<PinState>>,
    /// Whether the line was low when somebody looked last.
    seen_low: Cell<bool>,
    counts: Cell<Counts>,
    edges: RefCell<Vec<Edge>>,
    recording: RefCell<Option<Watch>>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Counts {
    pub(super) falls: u64,
    pub(super) rises: u64,
}

impl Node {
    fn level(&self) -> PinState {
        let pulled = || self.pulls.borrow().iter().any(|pull| pull.is_low());
        self.stuck
            .get()
            .unwrap_or_else(|| PinState::from(!pulled()))
    }

    /// Shows this level from now on; None: what is wired to it says.
    pub(super) fn stick(&self, level: Option<PinState>) {
        self.stuck.set(level);
    }

    fn look(&self, at_ns: u64) -> bool {
        let to = self.level();
        let is_low = to == PinState::Low;
        let changed = self.seen_low.replace(is_low) != is_low;
        if changed {
            let mut counts = self.counts.get();
            if is_low {
                counts.falls += 1;
            } else {
                counts.rises += 1;
            }
            self.counts.set(counts);
            if self.recording.borrow().is_some() {
                self.edges.borrow_mut().push(Edge { at_ns, to });
            }
        }
        changed
    }

    fn is_wired_to<M: AlertOutputs>(&self, part: &Part<M>, output: M::Output) -> bool {
        self.pulls.borrow().iter().any(|pull| {
            let pull: &dyn Any = &**pull;
            let pull = pull.downcast_ref::<Wired<M>>();
            pull.is_some_and(|pull| pull.output == output && pull.part.is_same(part))
        })
    }
}

impl fmt::Display for Node {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let pulls = self.pulls.borrow();
        let (first, rest) = match pulls.split_first() {
            Some(pulls) => pulls,
            None => return f.write_str("a line that is wired to nothing"),
        };
        write!(f, "{first}")?;
        for pull in rest {
            write!(f, " + {pull}")?;
        }
        match self.stuck.get() {
            Some(level) => write!(f, ", stuck {level:?}"),
            None => Ok(()),
        }
    }
}

/// What is wired to a line. Its display is its name, and what keeps it from pulling.
trait Pull: Any + fmt::Display {
    fn is_low(&self) -> bool;

    /// Whether it is this output of the part with this address.
    fn is(&self, address: u8, output: &str) -> bool;

    /// What keeps the output as it is until somebody writes to the part.
    fn obstacle(&self) -> Option<&'static str>;
}

struct Wired<M: AlertOutputs> {
    part: Part<M>,
    output: M::Output,
}

impl<M: AlertOutputs> Pull for Wired<M> {
    fn is_low(&self) -> bool {
        self.part.is_low(self.output)
    }

    fn is(&self, address: u8, output: &str) -> bool {
        self.part.address() == address && format!("{:?}", self.output) == output
    }

    fn obstacle(&self) -> Option<&'static str> {
        if !self.part.is_reached(self.output) {
            Some("no flag reaches it")
        } else if self.part.next_event_ns().is_none() {
            Some("nothing is converted")
        } else {
            None
        }
    }
}

impl<M: AlertOutputs> fmt::Display for Wired<M> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:#04x} output {:?}", self.part.address(), self.output)?;
        match self.obstacle() {
            Some(obstacle) => write!(f, " ({obstacle})"),
            None => Ok(()),
        }
    }
}

/// All lines of a bench, and how many are interested in their edges.
#[derive(Default)]
pub(super) struct Lines {
    nodes: RefCell<Vec<Rc<Node>>>,
    watches: Rc<Cell<usize>>,
}

impl Lines {
    pub(super) fn add(&self) -> Rc<Node> {
        let node = Rc::new(Node::default());
        self.nodes.borrow_mut().push(node.clone());
        node
    }

    pub(super) fn of<M: AlertOutputs>(
        &self,
        part: &Part<M>,
        output: M::Output,
    ) -> Option<Rc<Node>> {
        let nodes = self.nodes.borrow();
        let mut nodes = nodes.iter();
        nodes.find(|node| node.is_wired_to(part, output)).cloned()
    }

    /// All lines that an output of the part with this address is wired to.
    pub(super) fn named(&self, address: u8, output: &str) -> Vec<Rc<Node>> {
        let nodes = self.nodes.borrow();
        let wired = nodes.iter().filter(|node| {
            let pulls = node.pulls.borrow();
            pulls.iter().any(|pull| pull.is(address, output))
        });
        wired.cloned().collect()
    }
}

impl Watcher for Lines {
    fn watches(&self) -> bool {
        self.watches.get() > 0
    }

    fn look(&self, at_ns: u64) -> bool {
        let nodes = self.nodes.borrow();
        nodes
            .iter()
            .fold(false, |changed, node| node.look(at_ns) | changed)
    }
}

/// An interest in edges, for as long as it lives.
pub(super) struct Watch(Rc<Cell<usize>>);

impl Watch {
    fn new(watches: &Rc<Cell<usize>>) -> Self {
        watches.set(watches.get() + 1);
        Self(watches.clone())
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        self.0.set(self.0.get().saturating_sub(1));
    }
}
