//! The bus is not trusted: any bytes, any errors, any number of times. No operation panics, and
//! each ends within a bounded number of transfers.

use crake::alert::{AlertFlags, AlertQueue, Limit, Limits, Outputs, Threshold};
use crake::board::{Board, Load, Rail, SenseResistor};
use crake::config::{Config, FullScale, Mode, ScanRate};
use crake::part::ResumeToken;
use crake::part::corncrake::{Address, Corncrake};
use crake::totals::Totals;
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, Clock, Monitor, Sample, ShuntMonitor, WithClock};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use proptest::prelude::*;

const PEC: crc::Crc<u8> = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
const GENIBUS: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_GENIBUS);

/// The longest call by the driver's documentation: limits of every kind on four channels, each
/// written and read back three times, and less than forty registers besides; or a block in pieces
/// of two bytes.
const TRANSFERS_MAX: usize = 6 * (20 + 40) + 3 * 112;

/// What the bus does with a transfer.
#[derive(Clone, Copy, Debug)]
enum Mood {
    Fail(ErrorKind),
    /// The same byte all over.
    Flat(u8),
    /// Bytes drawn at random.
    Noise,
    /// The same with a right check byte, and where it is a block with the tag asked for and a right
    /// check value: gets past every check but those of meaning.
    Plausible,
    /// What a part would say.
    Honest,
}

/// Draws bytes from a seed, moods from a list that goes round.
struct Bus {
    moods: Vec<Mood>,
    seed: u64,
    transfers: usize,
    /// What was written last, by pointer.
    echo: [Vec<u8>; 256],
    /// So that pieces belong together.
    block: Vec<u8>,
}

impl Bus {
    fn new(moods: Vec<Mood>, seed: u64) -> Self {
        Self {
            moods,
            seed,
            transfers: 0,
            echo: core::array::from_fn(|_| Vec::new()),
            block: vec![0; 111],
        }
    }

    /// SplitMix64, a published generator (Steele, Lea, Flood 2014).
    fn draw(&mut self) -> u8 {
        self.seed = self.seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.seed;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (z ^ (z >> 31)) as u8
    }

    fn mood(&mut self) -> Mood {
        self.transfers += 1;
        self.moods[self.transfers % self.moods.len()]
    }

    /// Bytes of a register as an honest part has them: what was written, or what the driver hopes
    /// for.
    fn honest(&self, pointer: u8, length: usize) -> Vec<u8> {
        match pointer {
            0x00 => vec![0x9E, 0x37, 0xC4, 0x02],
            0x01 => vec![0, 5],
            0x0A => vec![0],
            0x78 => vec![4, 0],
            _ if self.echo[usize::from(pointer)].len() == length => {
                self.echo[usize::from(pointer)].clone()
            }
            _ => vec![0; length],
        }
    }
}

impl ErrorType for Bus {
    type Error = ErrorKind;
}

impl I2c for Bus {
    fn write(&mut self, _: u8, bytes: &[u8]) -> Result<(), ErrorKind> {
        let mood = self.mood();
        match bytes {
            [0x03, tag, ..] => {
                self.block = (0..109).map(|_| self.draw()).collect();
                self.block[0] = *tag;
                // Most blocks are not of a part that was reset, or nothing beyond would be reached.
                self.block[7] &= if self.block[8] < 200 { 0x7F } else { 0xFF };
                if !matches!(mood, Mood::Noise) {
                    let [run, channels, averaging] = [4, 5, 7]
                        .map(|pointer| self.echo[pointer].first().copied().unwrap_or_default());
                    let ranges = self.honest(0x06, 2);
                    self.block[1..4].copy_from_slice(&[0, 5, run]);
                    self.block[4] = channels | averaging << 4;
                    self.block[5..7].copy_from_slice(&ranges);
                }
                let check = GENIBUS.checksum(&self.block);
                self.block.extend(check.to_be_bytes());
            }
            [pointer, data @ .., _] => self.echo[usize::from(*pointer)] = data.to_vec(),
            [] | [_] => panic!("a write of nothing"),
        }
        match mood {
            Mood::Fail(error) => Err(error),
            _ => Ok(()),
        }
    }

    fn write_read(&mut self, address: u8, bytes: &[u8], room: &mut [u8]) -> Result<(), ErrorKind> {
        let mood = self.mood();
        for place in room.iter_mut() {
            *place = self.draw();
        }
        let pointer = bytes[0];
        let data = match (mood, pointer) {
            (Mood::Fail(error), _) => return Err(error),
            (Mood::Noise, _) => return Ok(()),
            (Mood::Flat(byte), _) => {
                room.fill(byte);
                return Ok(());
            }
            (_, 0x80..) => {
                let rest = self.block.get(usize::from(pointer - 0x80)..);
                rest.unwrap_or_default().to_vec()
            }
            (Mood::Honest, _) => self.honest(pointer, room.len() - 1),
            (Mood::Plausible, _) => room[..room.len() - 1].to_vec(),
        };
        let covered = [&[address << 1, pointer, address << 1 | 1], &data[..]].concat();
        let check = PEC.checksum(&covered);
        for (place, byte) in room.iter_mut().zip(data.iter().chain([&check])) {
            *place = *byte;
        }
        Ok(())
    }

    fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        panic!("the driver does with write and write_read")
    }
}

struct NoDelay;

impl DelayNs for NoDelay {
    fn delay_ns(&mut self, _: u32) {}
}

/// A millisecond later each time.
struct Steady(u64);

impl Clock for Steady {
    fn now_us(&mut self) -> u64 {
        self.0 += 1_000;
        self.0
    }
}

/// Makes the time up: a clock may be as wrong as the rest, and even step back.
struct Wild(u64);

impl Clock for Wild {
    fn now_us(&mut self) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        // Mostly small steps, sometimes any moment.
        if self.0 >> 60 == 0 {
            self.0
        } else {
            self.0 >> 40
        }
    }
}

fn mood() -> impl Strategy<Value = Mood> {
    let error = prop_oneof![
        Just(ErrorKind::Bus),
        Just(ErrorKind::ArbitrationLoss),
        Just(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address)),
        Just(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown)),
        Just(ErrorKind::Overrun),
        Just(ErrorKind::Other),
    ];
    prop_oneof![
        1 => error.prop_map(Mood::Fail),
        1 => prop_oneof![Just(0x00), Just(0xFF), any::<u8>()].prop_map(Mood::Flat),
        1 => Just(Mood::Noise),
        4 => Just(Mood::Plausible),
        16 => Just(Mood::Honest),
    ]
}

#[derive(Clone, Copy, Debug)]
enum Call {
    Init(Config<4>),
    Configure(Config<4>),
    Resume(u32),
    Sample,
    SetLimits,
    ReadAlerts,
    Service,
    SetMasks(u64),
    StartCapture(u8),
    FetchCapture(u16, usize),
    Power(bool),
}

/// Configurations of any numbers at all, possible or not.
fn config() -> impl Strategy<Value = Config<4>> {
    let full_scale = (0..80_000_i64, 0..80_000_i64).prop_map(|(sense_uv, rail_mv)| {
        FullScale::new(
            Voltage::from_microvolts(sense_uv),
            Voltage::from_millivolts(rail_mv),
        )
    });
    let mode = prop_oneof![
        4 => (0..3_000_u32).prop_map(|rate| Mode::Continuous(ScanRate::per_second(rate))),
        1 => Just(Mode::Idle),
        1 => Just(Mode::SingleShot),
    ];
    let channels = proptest::array::uniform4(proptest::option::of(full_scale));
    (channels, mode, 0..12_u8).prop_map(|(channels, mode, averaging)| {
        let all = channels.map(|channel| channel.unwrap_or(GOOD));
        let mut config = Config::continuous(all, ScanRate::per_second(1));
        for (number, channel) in (0..).zip(channels) {
            if channel.is_none() {
                config = config.without(Channel::new(number));
            }
        }
        config.with_mode(mode).averaging(averaging)
    })
}

const GOOD: FullScale = FullScale::new(Voltage::from_millivolts(60), Voltage::from_volts(60));

fn call() -> impl Strategy<Value = Call> {
    let good = Config::continuous([GOOD; 4], ScanRate::per_second(2_000));
    prop_oneof![
        6 => Just(Call::Init(good)),
        1 => config().prop_map(Call::Init),
        1 => config().prop_map(Call::Configure),
        1 => Just(Call::Configure(good)),
        1 => prop_oneof![Just(5), any::<u32>()].prop_map(Call::Resume),
        8 => Just(Call::Sample),
        4 => Just(Call::SetLimits),
        2 => Just(Call::ReadAlerts),
        4 => Just(Call::Service),
        1 => any::<u64>().prop_map(Call::SetMasks),
        1 => (0..6_u8).prop_map(Call::StartCapture),
        2 => (any::<u16>(), 0..40_usize).prop_map(|(first, room)| Call::FetchCapture(first, room)),
        1 => any::<bool>().prop_map(Call::Power),
    ]
}

const AMPERE: Threshold = Threshold::OverCurrent(Current::from_amps(1));
const LOW: Threshold = Threshold::UnderVoltage(Voltage::from_volts(3));
static LIMITS: Limits<'static> = Limits::new(&[
    Limit::new(Channel::C0, AMPERE).to(Outputs::A),
    Limit::new(Channel::C2, AMPERE).following().to(Outputs::B),
    Limit::new(Channel::C3, LOW).debounce(15).to(Outputs::A),
])
.rollover_ahead(Outputs::B);

type Hostile<'b> = Monitor<'b, Bus, NoDelay, Corncrake, 4, WithClock<Wild>>;

/// Makes a call, and says all that there is to say of it.
fn make(
    monitor: &mut Hostile<'_>,
    queue: &mut AlertQueue<'static, 8>,
    totals: &mut Totals<'_, 4>,
    call: Call,
) {
    let good = Config::continuous([GOOD; 4], ScanRate::per_second(2_000));
    let mut seen = AlertFlags::empty();
    let mut room = [0; 40];
    let result = match call {
        Call::Init(config) => monitor.init(&config),
        Call::Configure(config) => monitor.configure(&config),
        Call::Resume(writes) => monitor
            .resume(
                &good,
                ResumeToken {
                    writes,
                    configuration: 0,
                },
            )
            .map(drop),
        Call::Sample => monitor.sample().map(|sample| {
            for channel in Channel::first(6) {
                if let Err(error) = sample.reading(channel) {
                    drop(error.to_string());
                }
            }
            let _ = (format!("{sample:?}"), totals.update(sample));
        }),
        Call::SetLimits => queue.set_limits(monitor, &LIMITS),
        Call::ReadAlerts => monitor.read_alerts(AlertFlags::all(), &mut seen).map(drop),
        Call::Service => queue.service(monitor).map(|sample| {
            totals.update(sample);
        }),
        Call::SetMasks(bits) => {
            let masks = [AlertFlags::from_bits_retain(bits), AlertFlags::LIMITS];
            monitor.set_masks(&masks)
        }
        Call::StartCapture(channel) => monitor.start_capture(Channel::new(channel)),
        Call::FetchCapture(first, length) => {
            let fetched = monitor.fetch_capture(first, &mut room[..length]);
            fetched.map(|capture| drop(format!("{:?}", capture.codes())))
        }
        Call::Power(on) => {
            monitor.set_powered(on);
            Ok(())
        }
    };
    if let Err(error) = result {
        drop(error.to_string());
    }
    while let Some(event) = queue.next_event() {
        drop(format!("{event:?}"));
    }
    let _ = (queue.next_in(), queue.listening(), queue.lost());
    for channel in Channel::first(4) {
        let _ = format!("{:?} {:?}", totals.energy(channel), totals.charge(channel));
    }
    let _ = (
        totals.next_sample_by_us(),
        totals.gap(),
        totals.counted_us(),
    );
}

fn board(nanoohms: u64) -> Board<4> {
    let tolerance = Tolerance::from_ppm(u32::MAX);
    let resistor = SenseResistor::new(Resistance::from_nanoohms(nanoohms), tolerance);
    Corncrake::board(&[Rail::new(resistor).with_load(Load::smooth(Current::MAX)); 4])
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 2_000,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn every_operation_ends_without_a_panic(
        seed in any::<u64>(),
        moods in proptest::collection::vec(mood(), 1..40),
        calls in proptest::collection::vec(call(), 1..30),
        read_max in prop_oneof![Just(1), Just(32), Just(255), any::<u8>()],
        attempts in 0..5_u8,
        nanoohms in 50_000..=10_000_000_001_u64,
    ) {
        let board = board(nanoohms);
        let part = Corncrake::new(Address::Strap0);
        let mut monitor = Monitor::new(Bus::new(moods, seed), NoDelay, part, &board)
            .with_clock(Wild(seed));
        monitor.set_read_max(read_max);
        monitor.set_attempts(attempts);
        let (mut queue, mut totals) = (AlertQueue::new(), Totals::new(&board));
        for call in calls {
            make(&mut monitor, &mut queue, &mut totals, call);
        }
    }

    /// Whatever comes, and however often it is tried three times.
    #[test]
    fn transfers_are_bounded(
        seed in any::<u64>(),
        moods in proptest::collection::vec(mood(), 1..12),
        calls in proptest::collection::vec(call(), 2..6),
        read_max in prop_oneof![Just(1), Just(32), Just(255), any::<u8>()],
    ) {
        let board = board(10_000_000);
        let part = Corncrake::new(Address::Strap0);
        let (mut queue, mut totals) = (AlertQueue::new(), Totals::new(&board));
        let mut monitor = Monitor::new(Bus::new(moods, seed), NoDelay, part, &board)
            .with_clock(Wild(seed));
        monitor.set_read_max(read_max);
        let count = calls.len();
        for call in calls {
            make(&mut monitor, &mut queue, &mut totals, call);
        }
        let (bus, _, _) = monitor.release();
        let most = count * TRANSFERS_MAX;
        prop_assert!(bus.transfers <= most, "{} transfers, at most {most}", bus.transfers);
    }
}

/// The list above gets somewhere: honest moods alone let every call come through.
#[test]
fn an_honest_bus_lets_calls_come_through() {
    let board = board(10_000_000);
    let part = Corncrake::new(Address::Strap0);
    let bus = Bus::new(vec![Mood::Honest], 1);
    let mut monitor = Monitor::new(bus, NoDelay, part, &board).with_clock(Steady(1));
    let good = Config::continuous([GOOD; 4], ScanRate::per_second(2_000));
    monitor.init(&good).expect("init");
    monitor.sample().expect("sample");
    let mut queue = AlertQueue::<8>::new();
    queue.set_limits(&mut monitor, &LIMITS).expect("limits");
    queue.service(&mut monitor).expect("service");
    monitor.start_capture(Channel::C1).expect("capture");
    monitor.fetch_capture(0, &mut [0; 20]).expect("codes");
    monitor.configure(&good).expect("configure");
    let token = monitor.token();
    monitor.resume(&good, token).expect("resume");
}
