use crake::Channel;
use crake::alert::{Limit, Outputs, Threshold};
use crake::board::{Load, LoadSteps};
use crake::units::{Current, Voltage};

/// What may be declared of the load of MODEM.
// Cannot be seen: what is shorter than 0.01567 s: readings come every 0.007836 s, and 0.007836 s
// apart at the most.
// Cannot be seen: an hour: the log has 9.998 s, and steps in an hour are worked out at the same
// rate.
pub const MODEM_LOAD: Load = Load::smooth(Current::from_milliamps(2_200))
    .with_steps(LoadSteps {
        per_hour: 7922,
        step: Current::from_milliamps(2_140),
    });
/// Between which its voltage lies.
pub const MODEM_VOLTAGE: (Voltage, Voltage) = (
    Voltage::from_millivolts(3_750),
    Voltage::from_millivolts(3_840),
);

/// Beyond everything that was seen. Channels are in the order of the log.
pub const LIMITS: [Limit; 3] = [
    Limit::new(Channel::new(0), Threshold::OverCurrent(Current::from_milliamps(2_200)))
        .debounce(2)
        .to(Outputs::A),
    Limit::new(Channel::new(0), Threshold::OverVoltage(Voltage::from_millivolts(3_840)))
        .debounce(2)
        .to(Outputs::A),
    Limit::new(Channel::new(0), Threshold::UnderVoltage(Voltage::from_millivolts(3_750)))
        .debounce(2)
        .to(Outputs::A),
];
