use crake::old::board::{Edges, Load, Rail as DriverRail, Shunt};
use crake::old::part::corncrake::SPEC;
use crake::old::units::{Current, Resistance, Tolerance, Voltage};

use crate::CRAKE_RAILS;
use crate::code::{Code, Error};
use crate::memory::{self, Board, DriverBoard, report};

/// What the engineer knows of one rail: the bound of every total leans on it.
#[repr(C)]
#[derive(Clone, Copy, Debug, Default)]
pub struct Rail {
    /// Nominal resistance of the sense resistor, 100 µΩ to 10 Ω, in nanoohms.
    pub resistance_nohm: u64,
    /// Greatest current in either direction, in nanoamperes, 0 or more.
    pub greatest_na: i64,
    /// Greatest jump of the load, up or down, in nanoamperes, 0 or more.
    pub edge_step_na: i64,
    /// Greatest mean of the current's magnitude over `mean_over_s`, in nanoamperes, 0 or more; without meaning where `mean_over_s` is 0.
    pub mean_na: i64,
    /// Least bus voltage in nanovolts.
    pub voltage_least_nv: i64,
    /// Greatest bus voltage in nanovolts; 0 where the span is not known, which takes the whole range.
    pub voltage_greatest_nv: i64,
    /// Tolerance of the sense resistor in ppm, in either direction.
    pub tolerance_ppm: u32,
    /// Temperature coefficient of the sense resistor, ppm per kelvin, in either direction.
    pub temperature_ppm_per_k: u32,
    /// How far the board gets from the temperature of the nominal resistance, in thousandths of a kelvin.
    pub temperature_span_mk: u32,
    /// Thermal resistance of the sense resistor to its surroundings, thousandths of a kelvin per watt.
    pub heating_mk_per_w: u32,
    /// Greatest number of jumps of the load (up or down each count) in 1000 seconds.
    pub edges_per_1000_s: u32,
    /// Shortest stretch in seconds over which `mean_na` holds; 0 where no mean is declared.
    pub mean_over_s: u32,
    /// 0: current flows from source to load alone; 1: both ways.
    pub both_ways: u8,
}

/// A board: its rails from channel 0 up, its serial number, its clock.
#[repr(C)]
#[derive(Clone, Copy, Debug, Default)]
pub struct Description {
    /// One rail per channel. All four must be described; a channel that is not used takes any resistor.
    pub rails: [Rail; CRAKE_RAILS],
    /// Serial number.
    pub serial: u32,
    /// Greatest error of the host clock's rate in either direction, in ppm.
    pub clock_ppm: u32,
}

impl Rail {
    fn driver(&self) -> Option<DriverRail> {
        let declared = [self.greatest_na, self.edge_step_na, self.mean_na];
        if declared.iter().any(|value| *value < 0) {
            return None;
        }
        let shunt = Shunt::new(
            Resistance::from_nanoohms(self.resistance_nohm),
            Tolerance::from_ppm(self.tolerance_ppm),
        )
        .with_temperature(self.temperature_ppm_per_k, self.temperature_span_mk)
        .with_self_heating(self.heating_mk_per_w);
        let mut load = Load::smooth(Current::from_nanoamps(self.greatest_na)).with_edges(Edges {
            per_1000_s: self.edges_per_1000_s,
            step: Current::from_nanoamps(self.edge_step_na),
        });
        match self.both_ways {
            0 => {}
            1 => load = load.both_ways(),
            _ => return None,
        }
        if self.mean_over_s > 0 {
            load = load.with_mean(Current::from_nanoamps(self.mean_na), self.mean_over_s);
        }
        let rail = DriverRail::new(shunt, load);
        let (least, greatest) = (self.voltage_least_nv, self.voltage_greatest_nv);
        match (least, greatest) {
            (0, 0) => Some(rail),
            _ if least < 0 || least > greatest => None,
            _ => Some(rail.with_voltage(
                Voltage::from_nanovolts(least),
                Voltage::from_nanovolts(greatest),
            )),
        }
    }
}

impl Description {
    fn driver(&self, argument: u8) -> Result<DriverBoard, Error> {
        let nameless = DriverRail::new(
            Shunt::new(Resistance::from_nanoohms(0), Tolerance::ZERO),
            Load::smooth(Current::ZERO),
        );
        let mut rails = [nameless; CRAKE_RAILS];
        for (number, (rail, described)) in (0..).zip(rails.iter_mut().zip(&self.rails)) {
            *rail = described.driver().ok_or(Error {
                channel: number,
                ..Error::argument(Code::BadArgument, argument)
            })?;
        }
        let board = DriverBoard::new(&SPEC, rails)?;
        let clock = Tolerance::from_ppm(self.clock_ppm);
        Ok(board.with_serial(self.serial).with_clock(clock))
    }
}

/// Makes a board of its description, in zeroed memory. The description is not needed afterwards.
///
/// `BAD_ARGUMENT` with `channel` for a value out of range, `RESISTANCE` for a resistor that the part cannot be used with; the memory is left zeroed.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_board_init(
    board: *mut Board,
    description: *const Description,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let made = unsafe { memory::input(description, 2) }?.driver(2)?;
        // SAFETY: the caller's promise.
        unsafe { memory::create(board, 1, made) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}
