//! What codes are worth in volts, amperes and watts.

use alloc::{vec, vec::Vec};

use crake::{Channel, units::Resistance};

use super::{
    Contents,
    description::{Counts, Description, Field, Measure, Value},
};

/// The sense resistor of a channel, as printed on it.
pub type Resistor = (Channel, Resistance);

/// What the codes of each channel are worth.
#[derive(Clone, Debug, PartialEq)]
pub struct Scales {
    description: &'static Description,
    channels: Vec<Lsbs>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Lsbs {
    sense_nv: Option<u64>,
    rail_nv: Option<u64>,
    resistance: Option<Resistance>,
}

/// A value in a unit without prefix.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// How many.
    pub value: f64,
    /// `"V"`, `"A"` or `"W"`.
    pub unit: &'static str,
}

impl Scales {
    /// With resistors, and ranges still unknown. Resistors of channels that the part does not have
    /// count for nothing.
    pub fn new(description: &'static Description, resistors: &[Resistor]) -> Self {
        let mut channels = vec![Lsbs::default(); usize::from(description.channels)];
        for (channel, resistance) in resistors {
            if let Some(lsbs) = channels.get_mut(channel.index()) {
                lsbs.resistance = Some(*resistance);
            }
        }
        Self {
            description,
            channels,
        }
    }

    /// The same by the ranges that a register shows; those that it does not show stay.
    #[must_use]
    pub fn with(&self, contents: &Contents) -> Self {
        let mut scales = self.clone();
        for (field, value) in contents.values() {
            let lsb = |lsbs_nv: &[u64]| match value {
                Value::Named(place, _) | Value::Unnamed(place) | Value::Unsigned(place) => {
                    lsbs_nv.get(usize::try_from(place).ok()?).copied()
                }
                Value::Signed(_) | Value::Flag(_) | Value::Text(_) => None,
            };
            match field.counts {
                Counts::SenseRange(channel) => {
                    if let Some(lsbs) = scales.channels.get_mut(channel.index()) {
                        lsbs.sense_nv = lsb(self.description.sense_lsb_nv);
                    }
                }
                Counts::RailRange(channel) => {
                    if let Some(lsbs) = scales.channels.get_mut(channel.index()) {
                        lsbs.rail_nv = lsb(self.description.rail_lsb_nv);
                    }
                }
                _ => {}
            }
        }
        scales
    }

    /// The weight of a sense code of this channel, in nanovolts; `None` while its range is not
    /// known, or is none that the part has.
    pub fn sense_lsb_nv(&self, channel: Channel) -> Option<u64> {
        self.of(channel).sense_nv
    }

    /// The weight of a rail code of this channel, in nanovolts; `None` as above.
    pub fn rail_lsb_nv(&self, channel: Channel) -> Option<u64> {
        self.of(channel).rail_nv
    }

    /// All fields of a register, decoded, with what they come to. Codes of a register that shows
    /// ranges itself are taken by these, others by those known so far.
    pub fn fields(
        &self,
        contents: &Contents,
    ) -> impl Iterator<Item = (&'static Field, Value, Vec<Quantity>)> {
        let scales = self.with(contents);
        let page = contents.page();
        contents.values().map(move |(field, value)| {
            let quantities = scales.quantities(field, value, page);
            (field, value, quantities)
        })
    }

    /// What a field's value comes to: of a sense code the voltage across the resistor, and where
    /// that is known the current through it; of a rail code the voltage; of a power code, where the
    /// resistor is known, the power; of a word in the number format of a page what it says. Empty
    /// for anything else and where the ranges are not known.
    ///
    /// Running sums are left out: what they count depends on every scan rate and range that they
    /// have seen. Formulas: code × LSB, over the resistance.
    pub fn quantities(&self, field: &Field, value: Value, page: Option<u8>) -> Vec<Quantity> {
        let code = match value {
            Value::Unsigned(code) => i128::from(code),
            Value::Signed(code) => i128::from(code),
            Value::Flag(_) | Value::Named(..) | Value::Unnamed(_) | Value::Text(_) => {
                return Vec::new();
            }
        };
        self.of_code(field.counts, code, page).unwrap_or_default()
    }

    /// Products are exact; what is divided is rounded once, in the format DIRECT twice.
    fn of_code(&self, counts: Counts, code: i128, page: Option<u8>) -> Option<Vec<Quantity>> {
        let quantity = |dividend: i128, divisor: f64, unit| Quantity {
            value: dividend as f64 / divisor,
            unit,
        };
        let nanoohms =
            |lsbs: Lsbs| Some(lsbs.resistance?.as_nanoohms() as f64).filter(|ohms| *ohms > 0.0);
        match counts {
            Counts::Sense(channel) => {
                let lsbs = self.of(channel);
                let nanovolts = code.checked_mul(lsbs.sense_nv?.into())?;
                let current = nanoohms(lsbs).map(|ohms| quantity(nanovolts, ohms, "A"));
                let voltage = quantity(nanovolts, 1e9, "V");
                Some([voltage].into_iter().chain(current).collect())
            }
            Counts::Rail(channel) => {
                let nanovolts = code.checked_mul(self.of(channel).rail_nv?.into())?;
                Some(vec![quantity(nanovolts, 1e9, "V")])
            }
            Counts::Power(channel) => {
                let lsbs = self.of(channel);
                let product = code.checked_mul(lsbs.sense_nv?.into())?;
                let product = product.checked_mul(lsbs.rail_nv?.into())?;
                Some(vec![quantity(product, nanoohms(lsbs)? * 1e9, "W")])
            }
            Counts::Word(measure, words) => {
                let (_, format) = words.iter().find(|(of, _)| Some(*of) == page)?;
                let unit = match measure {
                    Measure::Voltage => "V",
                    Measure::Current => "A",
                    Measure::Power => "W",
                };
                let value = format.decode(u16::try_from(code).ok()?);
                Some(vec![Quantity { value, unit }])
            }
            _ => None,
        }
    }

    fn of(&self, channel: Channel) -> Lsbs {
        let lsbs = self.channels.get(channel.index());
        lsbs.copied().unwrap_or_default()
    }
}
