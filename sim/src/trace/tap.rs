use std::cell::RefCell;
use std::io::{self, Write};
use std::rc::Rc;

use super::dump::{Dump, Signal, Value};
use super::recorder::Recorder;
use crate::part::corncrake::{ChannelSnapshot, PartWatcher, Snapshot};

/// Which signals a part has in the dump, and what they show.
pub(super) struct Signals {
    channels: Vec<usize>,
    /// With the value last told.
    signals: Vec<(Signal, Value)>,
}

impl Signals {
    /// Declares a part as a module, and in it one module for each of `channels`, which come with
    /// their names.
    pub(super) fn declare(
        dump: &mut Dump<impl Write>,
        part: &str,
        channels: &[(usize, &str)],
        present: &Snapshot,
    ) -> io::Result<Self> {
        let mut signals = Vec::new();
        let mut declare = |dump: &mut Dump<_>, name, value| {
            signals.push((dump.declare(name, value)?, value));
            io::Result::Ok(())
        };
        dump.enter(part)?;
        for (name, value) in of_part(present) {
            declare(dump, name, value)?;
        }
        for &(channel, name) in channels {
            dump.enter(&format!("ch{channel}_{name}"))?;
            for (name, value) in of_channel(&present.channels[channel]) {
                declare(dump, name, value)?;
            }
            dump.leave()?;
        }
        dump.leave()?;
        let channels = channels.iter().map(|&(channel, _)| channel).collect();
        Ok(Self { channels, signals })
    }
}

/// Tells a recorder what changes in a part.
pub(super) struct Tap<W: Write> {
    signals: Signals,
    recorder: Rc<RefCell<Recorder<W>>>,
}

impl<W: Write> Tap<W> {
    pub(super) fn new(signals: Signals, recorder: Rc<RefCell<Recorder<W>>>) -> Self {
        Self { signals, recorder }
    }
}

impl<W: Write> PartWatcher for Tap<W> {
    fn see(&mut self, at_ns: u64, part: &Snapshot) -> bool {
        let mut recorder = self.recorder.borrow_mut();
        if recorder.has_seen_enough(at_ns) {
            return false;
        }
        let Signals { channels, signals } = &mut self.signals;
        let of_channels = channels
            .iter()
            .flat_map(|&channel| of_channel(&part.channels[channel]));
        for ((signal, last), (_, value)) in signals
            .iter_mut()
            .zip(of_part(part).into_iter().chain(of_channels))
        {
            if *last != value {
                *last = value;
                recorder.tell(at_ns, *signal, value);
            }
        }
        true
    }
}

fn of_part(part: &Snapshot) -> [(&'static str, Value); 4] {
    let bits = |bits| Value::Vector { bits, width: 24 };
    // Open-drain: pulled low is a zero.
    let line = |output: u8| Value::Wire(part.outputs >> output & 1 == 0);
    [
        ("FLAGS", bits(part.flags)),
        ("CONDITIONS", bits(part.conditions)),
        ("A", line(0)),
        ("B", line(1)),
    ]
}

fn of_channel(channel: &ChannelSnapshot) -> [(&'static str, Value); 9] {
    let [
        over_voltage,
        under_voltage,
        over_current,
        under_current,
        over_power,
    ] = channel.counts.map(|count| Value::Vector {
        bits: count.into(),
        width: 4,
    });
    let code = |code: i32, width| Value::Vector {
        bits: code as u32,
        width,
    };
    // Adding zero makes a negative zero a plain one.
    let real = |nano: f64| Value::Real(nano / 1e9 + 0.0);
    [
        ("voltage_v", real(channel.truth.voltage_nv)),
        ("current_a", real(channel.truth.current_na)),
        ("rail", code(channel.rail, 16)),
        ("sense", code(channel.sense, 18)),
        ("over_voltage", over_voltage),
        ("under_voltage", under_voltage),
        ("over_current", over_current),
        ("under_current", under_current),
        ("over_power", over_power),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::Means;

    /// A channel at which nothing flows back.
    const NOTHING: ChannelSnapshot = ChannelSnapshot {
        sense: 0,
        rail: 0,
        counts: [0; 5],
        truth: Means {
            current_na: -0.0,
            voltage_nv: -0.0,
        },
    };

    /// OUTPUTS: bit 0 is A, bit 1 is B, set while pulled low.
    #[test]
    fn each_output_is_low_by_its_own_bit() {
        for (outputs, high) in [(0, [true, true]), (1, [false, true]), (2, [true, false])] {
            let shown = of_part(&Snapshot {
                channels: [NOTHING; 4],
                conversions: 0,
                flags: 0,
                conditions: 0,
                outputs,
            });
            let [.., (_, a), (_, b)] = shown;
            assert_eq!([a, b], high.map(Value::Wire), "{outputs}");
        }
    }

    #[test]
    fn nothing_that_flows_back_is_a_plain_zero() {
        let shown = of_channel(&NOTHING);
        let plain = |value: &Value| matches!(value, Value::Real(real) if real.is_sign_positive());
        assert!(shown[..2].iter().all(|(_, value)| plain(value)));
    }
}
