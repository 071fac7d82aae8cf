use crake::Channel;
use crake::board::{Board as DriverBoard, Correction as DriverCorrection, Rail as DriverRail};
use crake::board::{Load, LoadSteps, SenseResistor, VoltageSteps};
use crake::part::corncrake::{Corncrake, INFO};
use crake::totals::Margins as DriverMargins;
use crake::units::{Current, Resistance, Tolerance, Voltage};

use crate::*;

types! {
    /// What the engineer knows of one rail: bounds lean on it. All numbers are 0 or more.
    #[derive(Clone, Copy, Default)]
    struct Rail {
        /// Nominal resistance of the sense resistor, 100 µΩ to 10 Ω, in nanoohms.
        resistance_nohm: u64,
        /// Resistor in each of the two sense leads, as input filters have, in nanoohms; 0 for none.
        filter_nohm: u64,
        /// Greatest current in either direction, in nanoamperes. 0: no load is declared; bounds
        /// leave out what it does between conversions, and the fields of the load below are not
        /// looked at.
        greatest_na: i64,
        /// Greatest mean of the current's magnitude over `mean_over_s`, in nanoamperes; it matters
        /// where current flows both ways.
        mean_na: i64,
        /// Greatest jump of the load, up or down, in nanoamperes.
        load_step_na: i64,
        /// Greatest jump of the source's voltage, in nanovolts.
        voltage_step_nv: i64,
        /// Least rail voltage, in nanovolts.
        voltage_least_nv: i64,
        /// Greatest rail voltage; 0 where the span is not known, which takes the whole range.
        voltage_greatest_nv: i64,
        /// Tolerance of the sense resistor in ppm, in either direction.
        tolerance_ppm: u32,
        /// Temperature coefficient of the sense resistor, ppm per kelvin, in either direction.
        temperature_ppm_per_k: u32,
        /// How far the board gets from the temperature of the nominal resistance, thousandths of a
        /// kelvin.
        temperature_span_mk: u32,
        /// Thermal resistance of the sense resistor to its surroundings, thousandths of a kelvin
        /// per watt.
        heating_mk_per_w: u32,
        /// Shortest stretch in seconds over which `mean_na` holds; 0 where no mean is declared.
        mean_over_s: u32,
        /// Greatest number of jumps of the load in 3600 s, up or down each count.
        load_steps_per_hour: u32,
        /// Greatest number of jumps of the source's voltage in 3600 s.
        voltage_steps_per_hour: u32,
        /// 0: current flows from source to load alone; 1: both ways.
        both_ways: u8,
    }

    /// A board: its rails from channel 0 up, its serial number, its clock.
    #[derive(Clone, Copy, Default)]
    struct Description {
        /// One rail per channel. A channel that is not used takes any resistor.
        rails: [Rail; CRAKE_RAILS],
        /// Serial number, which ties checkpoints and calibration records to it.
        serial: u32,
        /// Greatest error of the host clock's rate in either direction, in ppm.
        clock_ppm: u32,
    }
}

/// What lives in a board's memory: the rails, and what was worked out of them.
pub struct Described {
    pub(crate) board: DriverBoard<CRAKE_RAILS>,
    pub(crate) rails: [DriverRail; CRAKE_RAILS],
}

/// What lives in the memory of margins.
pub struct Open {
    pub(crate) of: &'static Described,
    pub(crate) margins: DriverMargins<'static, CRAKE_RAILS>,
}

impl Rail {
    /// As the driver takes it, for a channel.
    fn driver(&self, channel: u8) -> Met<DriverRail> {
        let resistor = SenseResistor::new(
            Resistance::from_nanoohms(self.resistance_nohm),
            Tolerance::from_ppm(self.tolerance_ppm),
        )
        .with_temperature(self.temperature_ppm_per_k, self.temperature_span_mk)
        .with_self_heating(self.heating_mk_per_w);
        let mean_na = match self.mean_over_s {
            0 => self.greatest_na,
            _ => self.mean_na,
        };
        let mut load = Load::smooth(Current::from_nanoamps(self.greatest_na))
            .with_mean(Current::from_nanoamps(mean_na), self.mean_over_s)
            .with_steps(LoadSteps {
                per_hour: self.load_steps_per_hour,
                step: Current::from_nanoamps(self.load_step_na),
            })
            .with_voltage_steps(VoltageSteps {
                per_hour: self.voltage_steps_per_hour,
                step: Voltage::from_nanovolts(self.voltage_step_nv),
            });
        if self.both_ways == 1 {
            load = load.both_ways();
        }
        let (least, greatest) = (self.voltage_least_nv, self.voltage_greatest_nv);
        // One sign among them is the sign of all.
        let signs = self.greatest_na | self.mean_na | self.load_step_na | self.voltage_step_nv;
        if (signs | least) < 0 || least > greatest || self.both_ways > 1 {
            let bad = Code::BadArgument.at(2);
            return Err(Error { channel, ..bad });
        }
        let filter = Resistance::from_nanoohms(self.filter_nohm);
        let mut rail = DriverRail::new(resistor).with_input_filter(filter);
        if self.greatest_na > 0 {
            rail = rail.with_load(load);
        }
        if greatest > 0 {
            let [least, greatest] = [least, greatest].map(Voltage::from_nanovolts);
            rail = rail.with_voltage(least, greatest);
        }
        Ok(rail)
    }
}

calls! {
    /// Makes a board of its description, which is not needed afterwards.
    ///
    /// `BAD_ARGUMENT` with `channel` for a value out of range, `SENSE_RESISTOR` for a resistor that
    /// the part cannot be used with.
    fn crake_board_init(board: new Board, description: given Description) {
        let [a, b, c, d] = &description.rails;
        let rails = [a.driver(0)?, b.driver(1)?, c.driver(2)?, d.driver(3)?];
        let made = Corncrake::board(&rails)
            .with_serial(description.serial)
            .with_clock(Tolerance::from_ppm(description.clock_ppm));
        made.check(&INFO)?;
        board.fill(Described { board: made, rails })
    }

    /// Makes another board of `board`, with corrections of its rails: `CRAKE_RAILS` of them, of
    /// which a zeroed one is none. Go on with `crake_monitor_set_board`, and for totals with
    /// margins of the new board and `crake_totals_set_margins`.
    ///
    /// A rail is corrected once: a second time, and for a correction out of all proportion, it is
    /// refused as `SENSE_RESISTOR`.
    fn crake_board_correct(
        corrected: new Board, board: fixed Board, corrections: array Correction; CRAKE_RAILS
    ) {
        let (mut made, mut rails) = (board.board, board.rails);
        for ((channel, rail), correction) in Channel::first(4).zip(&mut rails).zip(corrections) {
            let correction = DriverCorrection::from(correction);
            if correction != DriverCorrection::NONE {
                made.correct(channel, &correction);
                *rail = rail.corrected(correction);
            }
        }
        made.check(&INFO)?;
        corrected.fill(Described { board: made, rails })
    }

    /// Works out what datasheet, board and corrections leave open of totals on a board.
    fn crake_margins_init(margins: new Margins, board: fixed Board) {
        let open = DriverMargins::new(&INFO, &board.board, &board.rails);
        margins.fill(Open { of: board, margins: open })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every field, each with a number of its own.
    #[test]
    fn a_rail_is_what_its_fields_say() {
        let rail = Rail {
            resistance_nohm: 10_000_001,
            filter_nohm: 16,
            greatest_na: 2,
            mean_na: 3,
            load_step_na: 4,
            voltage_step_nv: 5,
            voltage_least_nv: 6,
            voltage_greatest_nv: 7,
            tolerance_ppm: 8,
            temperature_ppm_per_k: 9,
            temperature_span_mk: 10,
            heating_mk_per_w: 11,
            mean_over_s: 12,
            load_steps_per_hour: 13,
            voltage_steps_per_hour: 14,
            both_ways: 1,
        };
        let [two, three, four] = [2, 3, 4].map(Current::from_nanoamps);
        let [five, six, seven] = [5, 6, 7].map(Voltage::from_nanovolts);
        let (resistance, tolerance) = (
            Resistance::from_nanoohms(10_000_001),
            Tolerance::from_ppm(8),
        );
        let resistor = SenseResistor::new(resistance, tolerance)
            .with_temperature(9, 10)
            .with_self_heating(11);
        let load = Load::smooth(two)
            .both_ways()
            .with_mean(three, 12)
            .with_steps(LoadSteps {
                per_hour: 13,
                step: four,
            })
            .with_voltage_steps(VoltageSteps {
                per_hour: 14,
                step: five,
            });
        let described = DriverRail::new(resistor)
            .with_input_filter(Resistance::from_nanoohms(16))
            .with_load(load)
            .with_voltage(six, seven);
        assert_eq!(rail.driver(0).ok(), Some(described));
    }
}
