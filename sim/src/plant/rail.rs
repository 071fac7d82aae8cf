use alloc::boxed::Box;
use alloc::collections::VecDeque;
use alloc::vec::Vec;

use super::branch;
use super::branch::Branch;
use super::next::Next;
use super::{Bounds, CURRENT_NA_MAX, Means, Piece, Plant, PlantError, Profile, Source, Truth};

/// A source and its load: one rail.
///
/// The rail makes its trajectory piece by piece as time goes on. A piece ends where the load's or
/// the source's section does, after 1000 s at the latest, and after 100 ms if a cell feeds it and
/// current flows; its ends are whole nanoamperes and nanovolts, and that trajectory is what
/// [`truth`](Plant::truth) sums and [`window`](Plant::window) averages.
///
/// Questions may reach back from the latest instant asked about by up to 1 ms, so that a truth
/// asked for in the middle of a conversion does not spoil the conversion. What lies further back
/// cannot be told any more: its means are NaN and its totals `i128::MAX`.
///
/// Charge cannot overflow. Energy can, beyond 2^127 sixths of 10^-27 J (28 GJ, for instance 1 kW
/// for 328 days); from then on its total is `i128::MAX`.
pub struct Rail {
    next: Next,
    now: Leg,
    /// Pieces before `now` that questions may still reach back to, oldest first.
    earlier: VecDeque<Leg>,
    /// Over all pieces before `now`.
    extremes: Extremes,
}

/// Least and greatest true values of a rail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Extremes {
    /// Least current, in nanoamperes.
    pub current_na_min: i64,
    /// Greatest current, in nanoamperes.
    pub current_na_max: i64,
    /// Least voltage, in nanovolts.
    pub voltage_nv_min: i64,
    /// Greatest voltage, in nanovolts.
    pub voltage_nv_max: i64,
    /// Least power, in nA·nV (10^-18 W), of those at the ends of pieces.
    pub power_na_nv_min: i128,
    /// Greatest power, in nA·nV (10^-18 W), of those at the ends of pieces.
    pub power_na_nv_max: i128,
}

impl Rail {
    /// A rail on which `source` feeds `load`, a profile in nanoamperes that is positive from source
    /// to load.
    ///
    /// # Errors
    /// [`PlantError::Current`] if the load could go beyond ±1 kA, [`PlantError::Voltage`] if the
    /// voltage at the load could go beyond ±1 kV with the drop across the source's impedance.
    pub fn new(source: Source, load: impl Profile + 'static) -> Result<Self, PlantError> {
        Self::with_branches(source, Box::new(load), Vec::new())
    }

    /// The same with loads whose current follows from the voltage.
    pub(super) fn with_branches(
        source: Source,
        load: Box<dyn Profile>,
        branches: Vec<Branch>,
    ) -> Result<Self, PlantError> {
        let (open, impedance_uohm) = (source.bounds(), source.impedance_uohm());
        let bounds = branch::bounds(&branches, load.bounds(), open, impedance_uohm);
        for na in [bounds.greatest, bounds.least] {
            if na.unsigned_abs() > CURRENT_NA_MAX.unsigned_abs() {
                return Err(PlantError::Current(na));
            }
        }
        // What follows from the voltage only draws it towards zero, or to what it was.
        source.check(load.bounds())?;
        let mut next = Next::new(source, load, branches);
        let piece = next.piece(0, 0);
        Ok(Self {
            next,
            extremes: Extremes::at_start(&piece),
            now: Leg::new(piece, 0, Some(0)),
            earlier: VecDeque::new(),
        })
    }

    /// Least and greatest current, in nanoamperes, that it could ever have.
    pub(super) fn bounds(&self) -> Bounds {
        self.next.bounds()
    }

    pub(super) const fn source(&self) -> &Source {
        &self.next.source
    }

    /// The next moment at which what a branch draws is changed from outside.
    pub(super) fn next_change_ns(&self) -> Option<u64> {
        self.next.next_change_ns()
    }

    /// Least and greatest current, voltage and power from time 0 to `at_ns`, which is not before an
    /// instant already asked about. Current and voltage are straight between the ends of pieces, so
    /// theirs are exact; power may bulge in between.
    pub fn extremes(&mut self, at_ns: u64) -> Extremes {
        self.advance(at_ns, at_ns);
        let cut = self.now.piece.cut(at_ns);
        self.extremes.and(&cut)
    }

    /// Charge left in the cell at `at_ns` in halves of nA·ns: what it began with less what has
    /// flowed out. Below 0 it is overdrawn. None if the source is no cell.
    pub fn cell_left_half_na_ns(&mut self, at_ns: u64) -> Option<i128> {
        let drawn = self.truth(at_ns).charge_half_na_ns;
        self.source().left(drawn)
    }

    /// The piece that holds at `at_ns`, which is subject to the same limits as the totals'; none if
    /// it lies too far back.
    pub fn piece(&mut self, at_ns: u64) -> Option<Piece> {
        self.advance(at_ns, at_ns);
        self.leg_at(at_ns).map(Leg::piece)
    }

    /// The piece that holds from `at_ns` on, none if it lies too far back.
    pub(super) fn piece_from(&mut self, at_ns: u64) -> Option<Piece> {
        self.advance(at_ns, at_ns.saturating_add(1));
        self.leg_at(at_ns).map(Leg::piece)
    }

    /// Open-circuit voltage of the source in nanovolts at `at_ns`, to which the rail has been
    /// [advanced](Self::advance), and its impedance in microohms.
    pub(super) fn feed(&self, at_ns: u64) -> (i64, u64) {
        let (drawn, _) = self.now.totals(at_ns);
        let open_nv = self.source().open_nv(at_ns, drawn);
        (open_nv, self.source().impedance_uohm())
    }

    /// The earliest moment at which anything can still be changed.
    pub(super) const fn changeable_from_ns(&self) -> u64 {
        self.now.piece.from_ns
    }

    /// Connects or parts the source, for what is made from now on. Parted, nothing flows and
    /// nothing stands at the load.
    pub(super) fn connect(&mut self, connected: bool) {
        self.next.source.connect(connected);
    }

    /// Asks the load anew from `at_ns` on, to which the rail has been [advanced](Self::advance):
    /// what it answered for later no longer holds. The totals at that instant are those that a
    /// question there gets.
    pub(super) fn renew(&mut self, from_ns: u64, at_ns: u64) {
        self.next.ask_anew(at_ns);
        if at_ns > self.now.piece.from_ns {
            self.go_on(from_ns, at_ns);
            return;
        }
        // The present piece has not held for any time.
        let Leg { charge, energy, .. } = self.now;
        let piece = self.next.piece(at_ns, charge);
        self.now = Leg::new(piece, charge, energy);
        if at_ns == 0 {
            self.extremes = Extremes::at_start(&piece);
        }
    }

    /// Makes pieces until `now` reaches to `at_ns`, and forgets those that questions from `from_ns`
    /// on no longer reach.
    pub(super) fn advance(&mut self, from_ns: u64, at_ns: u64) {
        while self.now.piece.to_ns < at_ns {
            self.go_on(from_ns, self.now.piece.to_ns);
        }
    }

    /// Ends the present piece at `at_ns`, if it reaches further, and makes the next.
    fn go_on(&mut self, from_ns: u64, at_ns: u64) {
        let (charge, energy) = self.now.totals(at_ns);
        self.next.end_piece(&self.now.piece, at_ns);
        let next = self.next.piece(at_ns, charge);
        let ended = Leg {
            to_ns: at_ns,
            ..self.now
        };
        self.extremes = self.extremes.and(&ended.piece());
        self.earlier.push_back(ended);
        self.now = Leg::new(next, charge, energy);
        let reached = from_ns.min(at_ns).saturating_sub(LOOK_BACK_NS);
        let is_over = |leg: &Leg| leg.to_ns <= reached;
        while self.earlier.front().is_some_and(is_over) {
            self.earlier.pop_front();
        }
    }

    fn leg_at(&self, at_ns: u64) -> Option<&Leg> {
        if at_ns >= self.now.piece.from_ns {
            return Some(&self.now);
        }
        let reaches = |leg: &&Leg| leg.piece.from_ns <= at_ns;
        self.earlier.iter().rev().find(reaches)
    }

    /// Means over an aperture that is not within the present piece.
    fn window_over_pieces(&mut self, from_ns: u64, to_ns: u64) -> Means {
        self.advance(from_ns, to_ns);
        let mut current = 0.0;
        let mut voltage = 0.0;
        let mut covered = 0;
        for leg in self.earlier.iter().chain([&self.now]) {
            let from = from_ns.max(leg.piece.from_ns);
            let to = to_ns.min(leg.to_ns);
            if let Some(length_ns) = to.checked_sub(from) {
                let means = leg.means(from, to);
                let length = length_ns as f64;
                current += means.current_na * length;
                voltage += means.voltage_nv * length;
                covered += length_ns;
            }
        }
        if Some(covered) != to_ns.checked_sub(from_ns) {
            return Means {
                current_na: f64::NAN,
                voltage_nv: f64::NAN,
            };
        }
        Means {
            current_na: current / covered as f64,
            voltage_nv: voltage / covered as f64,
        }
    }
}

impl Plant for Rail {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        let piece = &self.now.piece;
        if piece.from_ns <= from_ns && to_ns <= piece.to_ns {
            self.now.means(from_ns, to_ns)
        } else {
            self.window_over_pieces(from_ns, to_ns)
        }
    }

    fn truth(&mut self, at_ns: u64) -> Truth {
        self.advance(at_ns, at_ns);
        match self.leg_at(at_ns) {
            Some(leg) => leg.truth(at_ns),
            None => Truth {
                charge_half_na_ns: i128::MAX,
                energy_sixth_na_nv_ns: i128::MAX,
            },
        }
    }
}

/// A piece with what had flowed before it, ready for means.
#[derive(Clone, Copy)]
struct Leg {
    piece: Piece,
    /// Where the next leg begins: the end of the piece, or before it if something was switched.
    to_ns: u64,
    /// Halves of nA·ns before the piece. At ±10^12 nA over all of 2^64 ns it stays below 2^106.
    charge: i128,
    /// Sixths of nA·nV·ns before the piece; none once they no longer fit.
    energy: Option<i128>,
    current: Line,
    voltage: Line,
}

#[derive(Clone, Copy)]
struct Line {
    start: f64,
    per_ns: f64,
}

impl Line {
    fn new(start: i64, end: i64, length_ns: u64) -> Self {
        Self {
            start: start as f64,
            per_ns: (end - start) as f64 / length_ns as f64,
        }
    }
}

impl Leg {
    fn new(piece: Piece, charge: i128, energy: Option<i128>) -> Self {
        let length = piece.to_ns - piece.from_ns;
        Self {
            piece,
            to_ns: piece.to_ns,
            charge,
            energy,
            current: Line::new(piece.start_na, piece.end_na, length),
            voltage: Line::new(piece.start_nv, piece.end_nv, length),
        }
    }

    /// Means from one instant of the piece to a later one: the values in the middle, since both
    /// lines are straight.
    fn means(&self, from_ns: u64, to_ns: u64) -> Means {
        let begin = self.piece.from_ns;
        // At most two pieces' length: a signed number converts faster than an unsigned one.
        let twice = ((from_ns - begin) + (to_ns - begin)) as i64;
        let middle = twice as f64 * 0.5;
        Means {
            current_na: self.current.start + self.current.per_ns * middle,
            voltage_nv: self.voltage.start + self.voltage.per_ns * middle,
        }
    }

    /// The piece as far as it held.
    fn piece(&self) -> Piece {
        self.piece.cut(self.to_ns)
    }

    /// Charge and energy from time 0 to `at_ns`.
    fn totals(&self, at_ns: u64) -> (i128, Option<i128>) {
        let part = self.piece.until(at_ns);
        let energy = self.energy;
        (
            self.charge + part.charge_half_na_ns,
            energy.and_then(|sum| sum.checked_add(part.energy_sixth_na_nv_ns)),
        )
    }

    fn truth(&self, at_ns: u64) -> Truth {
        let (charge_half_na_ns, energy) = self.totals(at_ns);
        Truth {
            charge_half_na_ns,
            energy_sixth_na_nv_ns: energy.unwrap_or(i128::MAX),
        }
    }
}

impl Extremes {
    fn at_start(piece: &Piece) -> Self {
        let power = piece.powers()[0];
        Self {
            current_na_min: piece.start_na,
            current_na_max: piece.start_na,
            voltage_nv_min: piece.start_nv,
            voltage_nv_max: piece.start_nv,
            power_na_nv_min: power,
            power_na_nv_max: power,
        }
    }

    fn and(self, piece: &Piece) -> Self {
        let (na, nv) = (
            [piece.start_na, piece.end_na],
            [piece.start_nv, piece.end_nv],
        );
        let powers = piece.powers();
        Self {
            current_na_min: self.current_na_min.min(na[0]).min(na[1]),
            current_na_max: self.current_na_max.max(na[0]).max(na[1]),
            voltage_nv_min: self.voltage_nv_min.min(nv[0]).min(nv[1]),
            voltage_nv_max: self.voltage_nv_max.max(nv[0]).max(nv[1]),
            power_na_nv_min: self.power_na_nv_min.min(powers[0]).min(powers[1]),
            power_na_nv_max: self.power_na_nv_max.max(powers[0]).max(powers[1]),
        }
    }
}

/// How far questions may reach back from the latest instant asked about.
const LOOK_BACK_NS: u64 = 1_000_000;
