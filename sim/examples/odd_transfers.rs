//! Transfers that a driver seldom or never makes, recorded: `cargo run -p crake-sim --example
//! odd_transfers -- DIRECTORY`.
//!
//! `.ci/decode` holds the recording against a protocol decoder that others wrote.

use std::path::Path;
use std::time::Duration;

use crake_sim::{
    bench::Bench,
    bus::{Restart, Speed},
    part::corncrake::Corncrake,
    trace::{Trace, Traced, Window},
};
use embedded_hal::i2c::{I2c, Operation};

fn main() -> Result<(), Box<dyn core::error::Error>> {
    let directory = std::env::args_os().nth(1).ok_or("name a directory")?;
    let bench = Bench::new(1);
    let near = bench.part(Corncrake::ideal(0x33))?;
    let far = bench.part(Corncrake::ideal(0x35))?;
    let parts = [
        Traced::new(&near, &[(0, "A")]),
        Traced::new(&far, &[(3, "B")]),
    ];
    let window = Window::new(Duration::ZERO, Duration::from_secs(1));
    let trace = Trace::start(&bench, &parts, window, Path::new(&directory))?;
    for speed in [Speed::Fast, Speed::Standard, Speed::FastPlus] {
        bench.set_bus_speed(speed);
        play(&bench)?;
        // A reset gives both parts something to alert about again.
        near.brown_out();
        far.brown_out();
        bench.run_for(Duration::from_millis(3));
    }
    trace.finish()?;
    Ok(())
}

fn play(bench: &Bench) -> Result<(), Box<dyn core::error::Error>> {
    let mut i2c = bench.i2c();
    // Identity, by a repeated START and by a STOP in its place.
    i2c.write_read(0x33, &[0x00], &mut [0; 5])?;
    i2c.clone()
        .with_restart(Restart::StopStart)
        .write_read(0x35, &[0x00], &mut [0; 5])?;
    // Three messages in one transaction.
    i2c.transaction(
        0x33,
        &mut [
            Operation::Write(&[0x01]),
            Operation::Read(&mut [0; 2]),
            Operation::Write(&[0x05]),
        ],
    )?;
    // Nobody there, for writing and for reading; a value that is not allowed.
    for refused in [
        i2c.write(0x44, &[0x00]),
        i2c.read(0x21, &mut [0; 2]),
        i2c.write(0x33, &[0x07, 0x0B]),
        i2c.read(0x0C, &mut [0]),
    ] {
        refused.err().ok_or("acknowledged")?;
    }

    // Both parts alert: the lower address is answered first, with and without its check byte.
    for address in [0x33, 0x35] {
        i2c.write(address, &[0x35, 0x40, 0x00, 0x00])?;
    }
    for (answer, with_check) in [(0x66, true), (0x6A, false)] {
        let mut bytes = [0; 2];
        let wanted = if with_check { 2 } else { 1 };
        i2c.read(0x0C, &mut bytes[..wanted])?;
        if bytes[0] != answer {
            return Err("the wrong part answered".into());
        }
    }
    for address in [0x33, 0x35] {
        i2c.write(address, &[0x35, 0x00, 0x00, 0x00])?;
    }

    // What no controller makes: bytes broken off by START and by STOP, a byte after a byte that was
    // not acknowledged. A START that a STOP follows at once is left out: UM10204 calls it an
    // illegal format, and the decoder takes what follows for its address.
    let wire = bench.wire();
    wire.start();
    wire.send(0x66);
    wire.break_off(5);
    wire.start();
    wire.send(0x66);
    wire.send(0x39);
    wire.break_off(3);
    wire.stop();
    wire.start();
    wire.send(0x66);
    wire.send(0x00);
    wire.send(0xAA);
    wire.send(0x55);
    wire.start();
    wire.send(0x67);
    wire.receive(false);
    wire.receive(true);
    wire.stop();
    Ok(())
}
