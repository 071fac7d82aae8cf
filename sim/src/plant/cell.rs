use alloc::vec::Vec;

use super::exact::round_div;
use super::{Bounds, PlantError};

/// A cell, or several alike in series, whose open-circuit voltage follows its state of charge.
///
/// The state is the part of the capacity that is left; charge that flows to the load lowers it,
/// charge that flows back raises it, one for one. Below state 0 and above state 1 the voltage stays
/// at the end of the table while the state goes on counting: the bench neither loses charge nor
/// takes over the work of a protection circuit, and a scenario that empties its cell shows it in
/// [`Rail::cell_left_half_na_ns`](super::Rail::cell_left_half_na_ns).
///
/// While current flows the rail's pieces are at most 100 ms long; from one end to the other the
/// voltage goes straight.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cell {
    /// Charge left, in halves of nA·ns, and the voltage of the whole series at that state, in
    /// nanovolts.
    table: Vec<(i128, i64)>,
    initial: i128,
    bounds: Bounds,
}

impl Cell {
    /// A cell of `capacity_uah` microampere-hours with `table` of state (parts per million of the
    /// capacity) and open-circuit voltage (nanovolts), straight between its points. `initial_ppm`
    /// is the state at time 0.
    ///
    /// # Errors
    /// [`PlantError::Capacity`] unless it is 1 µAh to 10 000 Ah, [`PlantError::Empty`],
    /// [`PlantError::Order`] or [`PlantError::StateEnds`] unless the table's states increase from 0
    /// to 1 000 000, [`PlantError::Value`] for a voltage beyond ±10^12, and [`PlantError::State`]
    /// for an initial state above 1 000 000.
    pub fn new(
        capacity_uah: u64,
        initial_ppm: u32,
        table: &[(u32, i64)],
    ) -> Result<Self, PlantError> {
        if !(1..=CAPACITY_UAH_MAX).contains(&capacity_uah) {
            return Err(PlantError::Capacity(capacity_uah));
        }
        let bounds = Bounds::of(table.iter().map(|point| point.1))?;
        if let Some(index) = table.windows(2).position(|pair| pair[1].0 <= pair[0].0) {
            return Err(PlantError::Order(index + 1));
        }
        let ends = (table.first(), table.last());
        if !matches!(ends, (Some((0, _)), Some((PPM, _)))) {
            return Err(PlantError::StateEnds);
        }
        if initial_ppm > PPM {
            return Err(PlantError::State(initial_ppm));
        }
        let charge =
            |ppm: u32| i128::from(capacity_uah) * i128::from(ppm) * HALF_NA_NS_PER_MILLIONTH_UAH;
        Ok(Self {
            table: table.iter().map(|&(ppm, nv)| (charge(ppm), nv)).collect(),
            initial: charge(initial_ppm),
            bounds,
        })
    }

    /// As many such cells in series: the voltage is that of all, the capacity that of one.
    ///
    /// # Errors
    /// [`PlantError::Series`] unless there are 1 to 1000 cells, [`PlantError::Value`] if their
    /// voltage is beyond ±10^12 nV.
    pub fn in_series(self, cells: u32) -> Result<Self, PlantError> {
        if !(1..=1000).contains(&cells) {
            return Err(PlantError::Series(cells));
        }
        let cells = i64::from(cells);
        let bounds = Bounds {
            least: self.bounds.least * cells,
            greatest: self.bounds.greatest * cells,
        };
        Ok(Self {
            table: self.table.iter().map(|&(q, nv)| (q, nv * cells)).collect(),
            initial: self.initial,
            bounds: bounds.checked()?,
        })
    }

    /// Charge left when `drawn` has flowed out since time 0, both in halves of nA·ns.
    pub(super) const fn left(&self, drawn: i128) -> i128 {
        self.initial - drawn
    }

    /// Open-circuit voltage in nanovolts, rounded to nearest, when `drawn` (halves of nA·ns) has
    /// flowed out.
    pub(super) fn open_circuit_nv(&self, drawn: i128) -> i64 {
        let left = self.left(drawn);
        // A table has at least two points; beyond an end it is the voltage there.
        let next = self.table.partition_point(|point| point.0 <= left);
        let next = next.clamp(1, self.table.len() - 1);
        let ((from, low), (to, high)) = (self.table[next - 1], self.table[next]);
        let change = i128::from(high - low) * (left.clamp(from, to) - from);
        (i128::from(low) + round_div(change, to - from)) as i64
    }

    pub(super) const fn bounds(&self) -> Bounds {
        self.bounds
    }
}

/// 10 000 Ah: 7.2e25 halves of nA·ns, which times 10^12 nV is still within 128 bits.
const CAPACITY_UAH_MAX: u64 = 10_000_000_000;
const PPM: u32 = 1_000_000;
/// 1 µAh = 1000 nA × 3600e9 ns; a millionth of it, in halves.
const HALF_NA_NS_PER_MILLIONTH_UAH: i128 = 2 * 1000 * 3_600_000;

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: [(u32, i64); 3] = [
        (0, 3_000_000_000),
        (200_000, 3_500_000_000),
        (1_000_000, 4_100_000_000),
    ];
    /// 1 A for 1 s in halves of nA·ns.
    const COULOMB: i128 = 2_000_000_000_000_000_000;

    fn cell(initial_ppm: u32) -> Cell {
        Cell::new(1_000_000, initial_ppm, &TABLE).unwrap()
    }

    #[test]
    fn voltage_follows_the_table_over_the_charge_drawn() {
        // 1 Ah is 3600 C. Half full: 3.5 V + 0.6 V × 0.3/0.8.
        assert_eq!(cell(500_000).open_circuit_nv(0), 3_725_000_000);
        assert_eq!(
            cell(1_000_000).open_circuit_nv(1800 * COULOMB),
            3_725_000_000
        );
        assert_eq!(
            cell(1_000_000).open_circuit_nv(3240 * COULOMB),
            3_250_000_000
        );
        assert_eq!(
            cell(200_000).open_circuit_nv(-1080 * COULOMB),
            3_725_000_000
        );
    }

    #[test]
    fn voltage_stays_at_the_ends_of_the_table() {
        assert_eq!(cell(0).open_circuit_nv(0), 3_000_000_000);
        assert_eq!(cell(0).open_circuit_nv(COULOMB), 3_000_000_000);
        assert_eq!(cell(1_000_000).open_circuit_nv(0), 4_100_000_000);
        assert_eq!(cell(1_000_000).open_circuit_nv(-COULOMB), 4_100_000_000);
    }

    #[test]
    fn cells_in_series_add_their_voltages() {
        let pack = cell(500_000).in_series(4).unwrap();
        assert_eq!(pack.open_circuit_nv(0), 4 * 3_725_000_000);
        assert_eq!(pack.bounds().greatest, 16_400_000_000);
    }

    #[test]
    fn cells_that_cannot_be_are_refused() {
        let new =
            |capacity, initial, table: &[(u32, i64)]| Cell::new(capacity, initial, table).err();
        assert_eq!(new(0, 0, &TABLE), Some(PlantError::Capacity(0)));
        assert_eq!(
            new(1, 1_000_001, &TABLE),
            Some(PlantError::State(1_000_001))
        );
        assert_eq!(new(1, 0, &[]), Some(PlantError::Empty));
        assert_eq!(new(1, 0, &TABLE[..2]), Some(PlantError::StateEnds));
        assert_eq!(new(1, 0, &TABLE[1..]), Some(PlantError::StateEnds));
        assert_eq!(new(1, 0, &[(0, 1), (0, 2)]), Some(PlantError::Order(1)));
        let beyond = new(CAPACITY_UAH_MAX + 1, 0, &TABLE);
        assert_eq!(beyond, Some(PlantError::Capacity(CAPACITY_UAH_MAX + 1)));
        for cells in [0, 1_001] {
            assert_eq!(cell(0).in_series(cells), Err(PlantError::Series(cells)));
        }
        let low = Cell::new(1, 0, &[(0, 0), (PPM, 1)]).unwrap();
        assert_eq!(low.in_series(1_000).unwrap().bounds().greatest, 1_000);
        let refused = Err(PlantError::Value(3_000_000_000_000));
        assert_eq!(cell(0).in_series(1000), refused);
    }

    #[test]
    fn the_greatest_cell_stays_within_its_numbers() {
        let (low, high) = (-1_000_000_000_000, 1_000_000_000_000);
        let cell = Cell::new(CAPACITY_UAH_MAX, 500_000, &[(0, low), (PPM, high)]).unwrap();
        assert_eq!(cell.open_circuit_nv(0), 0);
    }
}
