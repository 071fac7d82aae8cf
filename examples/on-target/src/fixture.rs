use alloc::vec::Vec;
use core::time::Duration;

use crake::crc::Pec;
use crake_sim::bench::{Bench, Part, Wire};
use crake_sim::board::SenseResistor;
use crake_sim::bus::Speed;
use crake_sim::part::corncrake::Corncrake;
use crake_sim::plant::{Constant, Means, Plant, Rail, Source, Truth};

use crate::Wrong;
use crate::examples::Token;

/// The address of every worked example.
pub(crate) const ADDRESS: u8 = 0x32;

/// A bench with one part without errors, talked to byte by byte.
pub(crate) struct Fixture {
    pub(crate) bench: Bench,
    pub(crate) part: Part,
    wire: Wire,
}

impl Fixture {
    pub(crate) fn new() -> Result<Self, Wrong> {
        let bench = Bench::new(0);
        bench.set_bus_speed(Speed::FastPlus);
        let part = bench.part(Corncrake::ideal(ADDRESS))?;
        let wire = bench.wire();
        Ok(Self { bench, part, wire })
    }

    /// A steady current and voltage on a channel.
    pub(crate) fn steady(
        &self,
        channel: usize,
        current_na: i64,
        voltage_nv: i64,
        nano_ohms: u64,
    ) -> Result<(), Wrong> {
        let rail = Rail::new(
            Source::of(Constant::new(voltage_nv)?),
            Constant::new(current_na)?,
        )?;
        self.part
            .rail(channel, rail, SenseResistor::ideal(nano_ohms))?;
        Ok(())
    }

    /// The sense codes of a fast capture on a channel, in the range of 500 nV.
    pub(crate) fn codes(&self, channel: usize, codes: Vec<i64>) -> Result<(), Wrong> {
        let plant = Listed { codes, asked: 0 };
        let ohm = SenseResistor::ideal(1_000_000_000);
        self.part.rail(channel, plant, ohm)?;
        Ok(())
    }

    /// Writes a register, check byte included.
    pub(crate) fn write(&self, pointer: u8, data: &[u8]) {
        let mut pec = Pec::new();
        self.wire.start();
        for byte in [ADDRESS << 1, pointer].iter().chain(data) {
            pec.add(*byte);
            self.wire.send(*byte);
        }
        self.wire.send(pec.value());
        self.wire.stop();
    }

    pub(crate) fn run_conversions(&self, count: u32) {
        self.bench.run_for(Duration::from_nanos(62_500) * count);
    }

    /// Plays a transfer of the document. `Some(whether every byte from the host was acknowledged)`,
    /// `None` if a byte from the part was another one.
    pub(crate) fn play(&self, wire: &[Token]) -> Option<bool> {
        let (mut reading, mut address_follows, mut acknowledged) = (false, false, true);
        for (place, token) in wire.iter().enumerate() {
            match *token {
                Token::Start | Token::Restart => {
                    self.wire.start();
                    address_follows = true;
                }
                Token::Stop => self.wire.stop(),
                Token::Byte(byte) => {
                    if reading && !address_follows {
                        let more = matches!(wire.get(place + 1), Some(Token::Byte(_)));
                        if self.wire.receive(more) != byte {
                            return None;
                        }
                    } else {
                        acknowledged &= self.wire.send(byte);
                        reading = address_follows && byte & 1 == 1;
                    }
                    address_follows = false;
                }
            }
        }
        Some(acknowledged)
    }
}

/// Shows one code after the other, conversion by conversion, the last one for ever: 1 Ω and 500 nV
/// a code make 500 nA a code.
struct Listed {
    codes: Vec<i64>,
    asked: usize,
}

impl Plant for Listed {
    fn window(&mut self, _: u64, _: u64) -> Means {
        let last = self.codes.len().saturating_sub(1);
        let code = self.codes.get(self.asked.min(last)).copied().unwrap_or(0);
        self.asked += 1;
        Means {
            current_na: (code * 500) as f64,
            voltage_nv: 0.0,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}
