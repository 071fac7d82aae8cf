//! Production and field checks: each finds its fault on 200 individuals, and reports nothing on 200
//! sound ones. An individual comes from a seed, which a failure names; `SEEDS=17..18 cargo test
//! --test checks` runs that one alone.

mod bus;
mod current;

use std::ops::Range;

use crake::Monitor;
use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake_sim::bench::{Bench, Delay, I2c, Part};
use crake_sim::board::SenseResistor as Fitted;
use crake_sim::part::corncrake as model;
use crake_sim::plant::{self, Constant, Source};
use crake_sim::rng::Rng;

const CHANNELS: usize = 4;
/// 10 mΩ, 1 %, 50 ppm/K over 60 K.
const RAIL: Rail = Rail::new(
    SenseResistor::new(Resistance::from_milliohms(10), Tolerance::from_percent(1))
        .with_temperature(50, 60_000),
);
static BOARD: Board<CHANNELS> = Corncrake::board(&[RAIL; CHANNELS]);
const UP_TO: FullScale = FullScale::new(Voltage::from_millivolts(65), Voltage::from_volts(16));
/// Means of 16 scans.
const CONFIG: Config<CHANNELS> =
    Config::continuous([UP_TO; CHANNELS], ScanRate::per_second(2_000)).averaging(4);

type Own = Monitor<'static, I2c, Delay, Corncrake, CHANNELS>;

fn seeds() -> Range<u64> {
    let given = std::env::var("SEEDS").ok();
    let range = given.as_deref().and_then(|text| {
        let (from, to) = text.split_once("..")?;
        Some(from.parse().ok()?..to.parse().ok()?)
    });
    range.unwrap_or(1..201)
}

/// A part and sense resistors that are individuals, within limits, with so much through each rail.
fn individual(seed: u64, na: [i64; CHANNELS]) -> (Bench, Part, Own) {
    let bench = Bench::new(seed);
    let part = bench.part(model::Corncrake::new(0x32)).expect("an address");
    let mut rng = Rng::new(seed).stream("resistors");
    for (channel, na) in na.into_iter().enumerate() {
        let source = Source::of(Constant::new(5_000_000_000).expect("a voltage"));
        let load = Constant::new(na).expect("a load");
        let rail = plant::Rail::new(source, load).expect("a rail");
        let resistor = Fitted::ideal(10_000_000)
            .tolerance_ppm(10_000)
            .coefficient_ppm_per_k(50)
            .reference_m_celsius(25_000)
            .ambient_m_celsius(60_000)
            .individual_from(&mut rng);
        part.rail(channel, rail, resistor).expect("a channel");
    }
    let monitor = own(&bench);
    (bench, part, monitor)
}

fn own(bench: &Bench) -> Own {
    let driver = Corncrake::new(Address::Strap0);
    Monitor::new(bench.i2c(), bench.delay(), driver, &BOARD)
}

const fn amps(na: i64) -> Current {
    Current::from_nanoamps(na)
}
