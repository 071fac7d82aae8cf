use alloc::vec;

use super::{
    description::{Count, Description, Page, Pec, Quantity, Refusal, Side},
    format::{Coefficients, Exponent, Format},
};

impl Description {
    /// Gallinule, the fictional device of docs/pmbus-device.md, part B.
    pub fn gallinule() -> Self {
        let free = Format::Linear11(Exponent::From(-8));
        let direct = |m, b, r| Format::Direct(Coefficients { m, b, r });
        let watts = |r, period| {
            Some(Count {
                coefficients: Coefficients { m: 1, b: 0, r },
                period,
            })
        };
        Self {
            identity: ["CRAKE", "GALLINULE", "A"],
            pec: Pec::Optional,
            has_query: true,
            has_user_data: true,
            sample_period_ns: 5_000_000,
            oscillator_limit_ppm: 20_000,
            pages: vec![
                Page {
                    side: Side::Output,
                    voltage: quantity(Format::Ulinear16 { exponent: -9 }, 0.0, 16.0, 0.005, 0.010),
                    current: quantity(free, -25.0, 25.0, 0.01, 0.050),
                    power: Some(free),
                    energy: watts(1, 32_768),
                    refusal: Refusal::NotAcknowledged,
                },
                Page {
                    side: Side::Output,
                    voltage: quantity(Format::Ulinear16 { exponent: -12 }, 0.0, 6.0, 0.005, 0.003),
                    current: quantity(
                        Format::Linear11(Exponent::Fixed(-6)),
                        -15.0,
                        15.0,
                        0.01,
                        0.030,
                    ),
                    power: None,
                    energy: None,
                    refusal: Refusal::NotAcknowledged,
                },
                Page {
                    side: Side::Output,
                    voltage: quantity(direct(5000, -1200, -1), 0.0, 60.0, 0.003, 0.030),
                    current: quantity(direct(800, 475, 0), -40.0, 40.0, 0.005, 0.040),
                    power: Some(direct(13, -3, 0)),
                    energy: watts(0, 32_767),
                    refusal: Refusal::Taken,
                },
                Page {
                    side: Side::Input,
                    voltage: quantity(free, 0.0, 60.0, 0.005, 0.050),
                    current: quantity(free, -50.0, 50.0, 0.01, 0.100),
                    power: Some(free),
                    energy: watts(0, 32_768),
                    refusal: Refusal::Taken,
                },
            ],
        }
    }
}

fn quantity(
    format: Format,
    least: f64,
    greatest: f64,
    gain_limit: f64,
    offset_limit: f64,
) -> Quantity {
    Quantity {
        format,
        least,
        greatest,
        gain_limit,
        offset_limit,
    }
}
