use alloc::boxed::Box;
use alloc::vec::Vec;

use super::branch::{self, Branch};
use super::node::{self, Form};
use super::piece::PIECE_NS_MAX;
use super::{Bounds, Piece, Profile, Section, Source};

/// How a rail goes on: its source and its loads, asked for one piece after the other.
pub(super) struct Next {
    pub(super) source: Source,
    load: Box<dyn Profile>,
    /// The load's section in use.
    section: Section,
    /// Loads whose current follows from the voltage.
    branches: Vec<Branch>,
    /// How long a piece may be tried, if branches bend it.
    tried_ns: u64,
}

impl Next {
    pub(super) fn new(source: Source, load: Box<dyn Profile>, branches: Vec<Branch>) -> Self {
        Self {
            source,
            section: load.section(0),
            load,
            branches,
            tried_ns: u64::MAX,
        }
    }

    pub(super) fn bounds(&self) -> Bounds {
        let (open, impedance) = (self.source.bounds(), self.source.impedance_uohm());
        branch::bounds(&self.branches, self.load.bounds(), open, impedance)
    }

    pub(super) fn next_change_ns(&self) -> Option<u64> {
        let changes = self.branches.iter().map(Branch::next_change_ns);
        changes.flatten().min()
    }

    /// From `at_ns` on, what the load answered for later no longer holds.
    pub(super) fn ask_anew(&mut self, at_ns: u64) {
        self.section = self.load.section(at_ns);
    }

    /// Ends the present piece, made by [`piece`](Self::piece), at `at_ns`.
    pub(super) fn end_piece(&mut self, piece: &Piece, at_ns: u64) {
        for branch in &mut self.branches {
            branch.end_piece(piece.from_ns, piece.to_ns, at_ns);
        }
    }

    /// The piece from `from_ns` on, before which `drawn` halves of nA·ns had flowed.
    pub(super) fn piece(&mut self, from_ns: u64, drawn: i128) -> Piece {
        if self.section.to_ns <= from_ns {
            self.section = self.load.section(from_ns);
        }
        let mut longest = from_ns.saturating_add(PIECE_NS_MAX);
        for branch in &mut self.branches {
            longest = longest.min(branch.begin_piece(from_ns));
        }
        if !self.source.is_connected() {
            for branch in &mut self.branches {
                (branch.start_na, branch.end_na) = (0, 0);
            }
            return Piece::nothing(from_ns, longest);
        }
        let section = self.section;
        let flows = section.start != 0 || section.end != 0 || !self.branches.is_empty();
        let longest = longest.min(section.to_ns);
        // A profile that breaks its promise to go on makes short pieces, not an endless loop.
        let longest = self
            .source
            .straight_until(from_ns, longest, flows)
            .max(from_ns.saturating_add(1));
        let start = self.currents(from_ns, 0, drawn);
        for (branch, na) in self.branches.iter_mut().zip(start) {
            branch.start_na = na;
        }
        let (to_ns, end) = self.end(from_ns, longest, drawn);
        for (branch, na) in self.branches.iter_mut().zip(end) {
            branch.end_na = na;
        }
        let all = |of: fn(&Branch) -> i64| self.branches.iter().map(of).sum::<i64>();
        let start_na = section.at(from_ns) + all(|branch| branch.start_na);
        let end_na = section.at(to_ns) + all(|branch| branch.end_na);
        let drawn_at_end = after(drawn, start_na, end_na, to_ns - from_ns);
        Piece {
            from_ns,
            to_ns,
            start_na,
            end_na,
            start_nv: self.source.voltage_nv(from_ns, start_na, drawn),
            end_nv: self.source.voltage_nv(to_ns, end_na, drawn_at_end),
        }
    }

    /// Where the piece from `from_ns` on ends, at `longest` if it is straight enough up to there,
    /// and the branches' currents then.
    fn end(&mut self, from_ns: u64, longest: u64, drawn: i128) -> (u64, Vec<i64>) {
        if self.branches.is_empty() {
            return (longest, Vec::new());
        }
        let mut length = self.tried_ns.min(longest - from_ns);
        loop {
            let end = self.currents_at_end(from_ns, length, drawn);
            let middle = self.currents_at_end(from_ns, length / 2, drawn);
            let mut both = self.branches.iter().zip(middle.iter().zip(&end));
            let straight = both.all(|(branch, (&middle, &end))| branch.is_straight(middle, end));
            if straight || length < 2 {
                let whole = length == longest - from_ns;
                self.tried_ns = if whole { u64::MAX } else { 2 * length };
                return (from_ns + length, end);
            }
            length /= 2;
        }
    }

    /// The branches' currents `length_ns` after `from_ns`, where their piece began. A cell's
    /// voltage is that after what flows at the beginning: what changes until then does not matter.
    fn currents_at_end(&self, from_ns: u64, length_ns: u64, drawn: i128) -> Vec<i64> {
        let at_ns = from_ns + length_ns;
        let starts = self.branches.iter().map(|branch| branch.start_na);
        let branches_na = starts.sum::<i64>();
        let start_na = self.section.at(from_ns) + branches_na;
        let end_na = self.section.at(at_ns) + branches_na;
        self.currents(at_ns, length_ns, after(drawn, start_na, end_na, length_ns))
    }

    /// The branches' currents at `at_ns`, `since_ns` after their piece began, when `drawn` has
    /// flowed.
    fn currents(&self, at_ns: u64, since_ns: u64, drawn: i128) -> Vec<i64> {
        if self.branches.is_empty() {
            return Vec::new();
        }
        let form = |branch: &Branch| branch.form(at_ns, since_ns);
        let forms: Vec<Form> = self.branches.iter().map(form).collect();
        let open_nv = self.source.open_nv(at_ns, drawn);
        let load_na = self.section.at(at_ns);
        let nv = node::voltage(open_nv, self.source.impedance_uohm(), load_na, &forms);
        node::currents(&forms, nv)
    }
}

/// Halves of nA·ns that have flowed after a straight stretch.
fn after(drawn: i128, start_na: i64, end_na: i64, length_ns: u64) -> i128 {
    drawn + (i128::from(start_na) + i128::from(end_na)) * i128::from(length_ns)
}
