//! The bus is not trusted: any bytes, any errors, any number of times. No operation panics, and each ends within a bounded number of transfers.

use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::ledger::{Gap, Ledger};
use crake::old::part::corncrake::{self, Corncrake};
use crake::old::part::{BusRange, Joint, SenseRange};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Channel, Clock, Mode, Monitor, Ranges, Setup, ShuntMonitor};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use proptest::prelude::*;

const PEC: crc::Crc<u8> = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
const GENIBUS: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_GENIBUS);
/// The longest operation by the driver's documentation: `init` of ten steps, each three times, read-backs besides; then three reads of 111 pieces, each three times.
const TRANSFERS_MAX: usize = 2 * 3 * 10 + 3 * 3 * 111;

/// What the bus does with a transfer.
#[derive(Clone, Copy, Debug)]
enum Mood {
    Fail(ErrorKind),
    /// Bytes drawn at random.
    Noise,
    /// The same, with a right check byte (and, where it is a whole block, a right CRC, and the tag asked for): gets past every check there is.
    Plausible,
    /// What a part would say.
    Honest,
}

/// Draws bytes from a seed, moods from a list that goes round.
struct Bus {
    moods: Vec<Mood>,
    seed: u64,
    transfers: usize,
    echo: [Vec<u8>; 256],
    /// So that pieces belong together.
    block: Vec<u8>,
}

impl Bus {
    fn draw(&mut self) -> u8 {
        // SplitMix64, a published generator (Steele, Lea, Flood 2014).
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
}

impl ErrorType for Bus {
    type Error = ErrorKind;
}

impl I2c for Bus {
    fn write(&mut self, _: u8, bytes: &[u8]) -> Result<(), ErrorKind> {
        let mood = self.mood();
        match bytes {
            [0x03, tag, ..] | [0x04, _, tag, ..] => {
                self.block = (0..109).map(|_| self.draw()).collect();
                self.block[0] = *tag;
                // Most blocks are not of a part that was reset, or nothing beyond would be reached.
                self.block[7] &= if self.block[8] < 200 { 0x7F } else { 0xFF };
                if matches!(mood, Mood::Honest) {
                    (self.block[1], self.block[2]) = (0, 5);
                    self.block[3..7].copy_from_slice(&[0x10, 0x0F, 0x22, 0x22]);
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
            (_, 0x00) => vec![0x9E, 0x37, 0xC4, 0x01],
            (_, 0x80..) => self
                .block
                .get(usize::from(pointer - 0x80)..)
                .unwrap_or_default()
                .to_vec(),
            (Mood::Honest, _) => self.echo[usize::from(pointer)].clone(),
            (Mood::Plausible, _) => room[..room.len() - 1].to_vec(),
        };
        let check = PEC.checksum(&[&[address << 1, pointer, address << 1 | 1], &data[..]].concat());
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
        1 => Just(Mood::Noise),
        4 => Just(Mood::Plausible),
        8 => Just(Mood::Honest),
    ]
}

#[derive(Clone, Copy, Debug)]
enum Call {
    Init(Setup<4>),
    Attach(u16),
    Latch,
    Configure(Setup<4>),
    Power(bool),
}

/// Set-ups of any numbers at all, possible or not.
fn setup() -> impl Strategy<Value = Setup<4>> {
    let ranges = (0..3_u8, 0..4_u8).prop_map(|(sense, bus)| Ranges {
        sense: SenseRange(sense),
        bus: BusRange(bus),
    });
    let mode = prop_oneof![
        (0..7_u8).prop_map(|pace| Mode::Paced(crake::old::part::Pace(pace))),
        Just(Mode::Idle),
        Just(Mode::SingleShot),
        any::<u8>().prop_map(|channel| Mode::Burst(Channel::new(channel))),
    ];
    let channels = proptest::array::uniform4(proptest::option::of(ranges));
    (channels, mode, 0..12_u8).prop_map(|(channels, mode, averaging)| Setup {
        channels,
        mode,
        averaging,
    })
}

fn call() -> impl Strategy<Value = Call> {
    let plain = Ranges {
        sense: corncrake::SENSE_65_MV,
        bus: corncrake::BUS_65_V,
    };
    let good = Setup::all(plain, Mode::Paced(corncrake::PACE_2000));
    prop_oneof![
        3 => Just(Call::Init(good)),
        1 => setup().prop_map(Call::Init),
        1 => any::<u16>().prop_map(Call::Attach),
        1 => Just(Call::Attach(5)),
        8 => Just(Call::Latch),
        1 => setup().prop_map(Call::Configure),
        1 => Just(Call::Configure(good)),
        1 => any::<bool>().prop_map(Call::Power),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_operation_ends_without_a_panic(
        seed in any::<u64>(),
        moods in proptest::collection::vec(mood(), 1..40),
        calls in proptest::collection::vec(call(), 1..20),
        read_max in prop_oneof![Just(1), Just(32), Just(255), any::<u8>()],
        nanoohms in 100_000..=10_000_000_000_u64,
        noise in proptest::collection::vec(any::<u8>(), 0..2_000),
    ) {
        let shunt = Shunt::new(Resistance::from_nanoohms(nanoohms), Tolerance::from_ppm(u32::MAX));
        let rail = Rail::new(shunt, Load::smooth(Current::MAX));
        let board = Board::new(&corncrake::SPEC, [rail; 4]).expect("resistances within limits");
        let bus = Bus {
            moods, seed, transfers: 0, echo: core::array::from_fn(|_| Vec::new()), block: vec![0; 111],
        };
        let mut monitor = Monitor::new(bus, NoDelay, Wild(seed), Corncrake::new(), 0x32, &board).with_read_max(read_max);
        let mut ledger = Ledger::new(&board, &corncrake::SPEC);
        if seed % 2 == 0 {
            // A checkpoint of this board whose content is nonsense with a right check value.
            let mut bytes = [0; Ledger::<4>::CHECKPOINT_LEN];
            ledger.save(&Joint { serial: 5 }, &mut bytes).expect("room");
            let (body, check) = bytes.split_last_chunk_mut().expect("longer");
            body[15..].iter_mut().zip(&noise).for_each(|(to, from)| *to = *from);
            *check = GENIBUS.checksum(body).to_be_bytes();
            ledger = Ledger::load(&board, &corncrake::SPEC, &bytes).expect("right by its check value").0;
            ledger.clock_restarted(seed, (seed % 4 == 0).then_some(Gap { least_us: seed / 3, greatest_us: seed / 2 }));
        }
        for call in calls {
            let frame = match call {
                Call::Init(setup) => monitor.init(&setup),
                Call::Attach(serial) => monitor.attach(&Joint { serial }),
                Call::Latch => monitor.latch(),
                Call::Configure(setup) => monitor.configure(&setup),
                Call::Power(on) => {
                    monitor.declare_powered(on);
                    monitor.latch()
                }
            };
            match frame {
                Ok(frame) => {
                    for channel in Channel::first(6) {
                        if let Err(error) = frame.reading(channel) {
                            let _ = error.to_string();
                        }
                    }
                    let _ = (format!("{frame:?}"), ledger.update(&frame));
                }
                Err(error) => drop(error.to_string()),
            }
            for channel in Channel::first(4) {
                let account = ledger.account(channel).expect("a rail");
                let _ = (account.energy_bound.total(), account.charge_bound.total(), account.energy.to_string());
            }
            let _ = (ledger.next_read_by_us(), ledger.gap());
        }
        // Bytes that are no checkpoint are refused, whatever they are.
        prop_assert!(Ledger::load(&board, &corncrake::SPEC, &noise).is_err());
    }

    #[test]
    fn transfers_are_bounded(
        seed in any::<u64>(),
        moods in proptest::collection::vec(mood(), 1..12),
        call in call(),
        read_max in prop_oneof![Just(1), Just(32), Just(255), any::<u8>()],
    ) {
        let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO);
        let board = Board::new(&corncrake::SPEC, [Rail::new(shunt, Load::smooth(Current::ZERO)); 4]).expect("a board");
        let bus = Bus {
            moods, seed, transfers: 0, echo: core::array::from_fn(|_| Vec::new()), block: vec![0; 111],
        };
        let mut monitor = Monitor::new(bus, NoDelay, Wild(seed), Corncrake::new(), 0x32, &board).with_read_max(read_max);
        let _ = match call {
            Call::Init(setup) => monitor.init(&setup).map(drop),
            Call::Attach(serial) => monitor.attach(&Joint { serial }).map(drop),
            Call::Latch | Call::Power(_) => monitor.latch().map(drop),
            Call::Configure(setup) => monitor.configure(&setup).map(drop),
        };
        let (bus, _, _) = monitor.release();
        prop_assert!(bus.transfers <= TRANSFERS_MAX, "{} transfers", bus.transfers);
    }
}
