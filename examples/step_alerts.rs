//! trial
use crake::alert::Kind;
use crake::alert::{Judge, Limit, Outputs, Plan, Watch, Watches};
use crake::board::{Board, Load, Rail, Shunt};
use crake::part::corncrake::{BUS_16_V, PACE_2000, SENSE_65_MV, SPEC};
use crake::units::{Current, Resistance, Tolerance};
use crake::{Channel, Mode, Ranges, Setup};

fn main() {
    let rail = Rail::new(
        Shunt::new(Resistance::from_milliohms(5), Tolerance::ZERO),
        Load::smooth(Current::from_amps(13)),
    );
    let board = Board::new(&SPEC, [rail; 4]).unwrap();
    let setup: Setup<4> = Setup::all(
        Ranges {
            sense: SENSE_65_MV,
            bus: BUS_16_V,
        },
        Mode::Paced(PACE_2000),
    );
    let limits = [Watch::new(
        Channel::C0,
        Limit::OverCurrent(Current::from_milliamps(9_500)),
    )
    .debounce(3)
    .held()
    .to(Outputs::A)];
    let sampling = setup.view();
    let plan = Plan::new(&SPEC, board.rails(), &sampling, Watches::limits(&limits)).unwrap();
    let mut judge: Judge<4> = Judge::new();
    for i in 0..8 {
        judge.code(&plan, Channel::C0, Kind::OverCurrent, 94_997 + i);
        println!("{:?}", judge);
    }
}
