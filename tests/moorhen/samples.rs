//! Samples: bytes as the document has them, values, individuals.

use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, ConfigError, FullScale, Mode, ScanRate};
use crake::info::Undetectable;
use crake::part::moorhen::{Address, Moorhen};
use crake::units::{Current, Power, Resistance, Tolerance, Voltage};
use crake::{Channel, ErrorKind, Monitor, NoReading, Sample, ShuntMonitor};
use crake_suite::examples::Transfer;
use crake_suite::markdown::Document;
use embedded_hal_mock::eh1::delay::NoopDelay;
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};

use crate::fixture::{CONFIG, Fixture, RAILS};

/// An example of section 9 as it goes over a bus.
fn example(number: u32) -> Transaction {
    let document = Document::read("docs/moorhen-datasheet.md");
    let table = document.table("9 ", &["#", "what", "bytes", "values"]);
    let row = table.rows().find(|row| row[0] == number.to_string());
    let row = row.expect("a worked example");
    match &Transfer::parse(row[2].trim_matches('`')).parts()[..] {
        [write] => Transaction::write(write[0] >> 1, write[1..].to_vec()),
        [write, read] => {
            Transaction::write_read(write[0] >> 1, write[1..].to_vec(), read[1..].to_vec())
        }
        other => panic!("{other:?}"),
    }
}

/// A register written and read back.
fn verified(pointer: u8, [low, high]: [u8; 2]) -> [Transaction; 2] {
    [
        Transaction::write(0x17, vec![pointer, low, high]),
        Transaction::write_read(0x17, vec![pointer], vec![low, high]),
    ]
}

/// Examples 1, 3 to 5 and 7 to 12: what is written, read, and what it stands for.
#[test]
fn a_configuration_and_a_sample_are_the_examples() {
    let rail = |milliohms| {
        let resistance = Resistance::from_milliohms(milliohms);
        Rail::new(SenseResistor::new(resistance, Tolerance::ZERO))
    };
    let board: Board<2> = Moorhen::board(&[rail(10), rail(100)]);
    let mut steps = vec![example(1), example(3), example(12)];
    // Section 3: nothing reaches the output, and limits are where nothing passes them.
    steps.extend(verified(0x72, [0x00, 0x00]));
    for (pointer, most) in [(0x88, 0x07), (0x8E, 0x0F), (0x89, 0x07), (0x8F, 0x0F)] {
        steps.extend(verified(pointer, [0xFF, most]));
    }
    steps.push(example(12));
    steps.push(example(4));
    steps.push(Transaction::write_read(0x17, vec![0x24], vec![0x00, 0x00]));
    steps.extend([5, 7, 8, 9, 10, 11, 12].map(example));
    let mut mock = Mock::new(&steps);
    let part = Moorhen::new(Address::Strap0);
    let mut monitor = Monitor::new(&mut mock, NoopDelay::new(), part, &board);
    let (wide, narrow) = (Voltage::from_millivolts(70), Voltage::from_millivolts(18));
    let config = Config::single_shot([
        FullScale::new(wide, Voltage::from_volts(7)),
        FullScale::new(narrow, Voltage::from_volts(28)),
    ]);
    monitor.init(&config).expect("init");
    let sample = monitor.sample().expect("a sample");
    let readings = [Channel::C0, Channel::C1].map(|channel| sample.reading(channel).expect("one"));
    let [first, second] = readings;
    assert_eq!(first.current, Current::from_nanoamps(3_600_000_000));
    assert_eq!(first.voltage, Voltage::from_nanovolts(3_300_500_000));
    assert_eq!(first.power, Power::from_nanowatts(11_881_800_000));
    assert_eq!(second.current, Current::from_nanoamps(-11_250_000));
    assert_eq!(second.voltage, Voltage::from_nanovolts(12_600_000_000));
    assert_eq!(second.power, Power::from_nanowatts(-141_750_000));
    let (bus, ..) = monitor.release();
    bus.done();
}

/// Section 4: a code is the input over the LSB, rounded to nearest; here 10 mΩ, 36 µV and 1.75 mV.
#[test]
fn readings_are_the_nearest_codes() {
    let fixture = Fixture::new();
    let mut driver = fixture.driver();
    driver.init(&CONFIG).expect("init");
    for (milliamps, millivolts) in [(1_000, 3_500), (-2_345, 6_999), (7_000, 1), (0, 0)] {
        fixture.set(0, milliamps * 1_000_000, millivolts * 1_000_000);
        let reading = driver.sample().expect("a sample").reading(Channel::C0);
        let reading = reading.expect("a reading");
        // 3.6 mA a code: 2 x / 3.6 rounded half away from zero.
        let sense = (milliamps * 10 + milliamps.signum() * 18) / 36;
        let rail = (millivolts * 100 + 87) / 175;
        assert_eq!(
            reading.current.as_nanoamps(),
            sense * 3_600_000,
            "{milliamps} mA"
        );
        assert_eq!(
            reading.voltage.as_nanovolts(),
            rail * 1_750_000,
            "{millivolts} mV"
        );
    }
}

/// Sections 4 and 3.4: beyond full scale the code stands at its end, and STATUS says so.
#[test]
fn over_range_is_told_by_channel_and_input() {
    let fixture = Fixture::new();
    let mut driver = fixture.driver();
    driver.init(&CONFIG).expect("init");
    fixture.set(1, -8_000_000_000, 5_000_000_000);
    let sample = driver.sample().expect("a sample");
    assert!(sample.reading(Channel::C0).is_ok());
    let Err(NoReading::Clipped { reading, .. }) = sample.reading(Channel::C1) else {
        panic!("{:?}", sample.reading(Channel::C1));
    };
    // -2048 × 36 µV over 10 mΩ.
    assert_eq!(reading.current.as_nanoamps(), -7_372_800_000);
    assert!(sample.codes(Channel::C1).sense_clipped && !sample.codes(Channel::C1).rail_clipped);
}

/// Section 6: whatever part the bench draws, the reading lies within its bound.
#[test]
fn individuals_are_within_the_bound_of_a_reading() {
    for seed in 1..=200 {
        let fixture = Fixture::individual(seed);
        let mut driver = fixture.driver();
        driver.init(&CONFIG).expect("init");
        let sample = driver.sample().expect("a sample");
        for (channel, current_na, voltage_nv) in [
            (Channel::C0, 1_000_000_000_i64, 3_500_000_000_i64),
            (Channel::C1, -250_000_000, 5_250_000_000),
        ] {
            let reading = sample.reading(channel).expect("a reading");
            let bound = sample.bound(channel, &RAILS[channel.index()]).expect("one");
            let off = (reading.current.as_nanoamps() - current_na).abs();
            assert!(off <= bound.current.as_nanoamps(), "seed {seed}: {off} nA");
            let off = (reading.voltage.as_nanovolts() - voltage_nv).abs();
            assert!(off <= bound.voltage.as_nanovolts(), "seed {seed}: {off} nV");
        }
    }
}

/// Section 1: it converts when it is told to, and has no scan rate.
#[test]
fn what_it_cannot_do_is_refused_before_a_byte_is_sent() {
    let fixture = Fixture::new();
    let mut driver = fixture.driver();
    let rate = ScanRate::every_seconds(1);
    let asked = CONFIG.with_mode(Mode::Continuous(rate));
    let error = driver.init(&asked).expect_err("no scan rate");
    assert_eq!(error.kind, ErrorKind::Config(ConfigError::ScanRate(rate)));
    let error = driver.init(&CONFIG.averaging(1)).expect_err("no averaging");
    let refused = ConfigError::Averaging {
        asked: 1,
        greatest: 0,
    };
    assert_eq!(error.kind, ErrorKind::Config(refused));
    assert_eq!(fixture.bus.count(), 0);
    driver.init(&CONFIG).expect("init");
    // Nobody can tell that somebody else wrote to it.
    assert_eq!(driver.undetectable(), Undetectable::WRITES);
}

/// Section 3.2: a channel that is not enabled is not converted, and takes no time.
#[test]
fn one_channel_alone() {
    let fixture = Fixture::new();
    let mut driver = fixture.driver();
    driver.init(&CONFIG.without(Channel::C0)).expect("init");
    let before = fixture.part.conversions();
    let sample = driver.sample().expect("a sample");
    let reading = sample.reading(Channel::C1).expect("a reading");
    assert_eq!(reading.voltage.as_nanovolts(), 5_250_000_000);
    let missing = NoReading::NotEnabled(Channel::C0);
    assert_eq!(sample.reading(Channel::C0), Err(missing));
    assert_eq!(fixture.part.conversions() - before, 2);
}
