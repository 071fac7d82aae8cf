//! Decodes a log with the strings that stand in the firmware's ELF. Usage: `decode ELF <LOG`.

use std::error::Error;
use std::io::Read;

use defmt_decoder::{DecodeError, Table};

fn main() -> Result<(), Box<dyn Error>> {
    let elf = std::env::args().nth(1).ok_or("usage: decode ELF <LOG")?;
    let table = Table::parse(&std::fs::read(elf)?)?.ok_or("the ELF has no defmt strings")?;
    let mut log = Vec::new();
    std::io::stdin().read_to_end(&mut log)?;
    let mut decoder = table.new_stream_decoder();
    decoder.received(&log);
    loop {
        match decoder.decode() {
            Ok(frame) => println!("{}", frame.display(false)),
            Err(DecodeError::UnexpectedEof) => return Ok(()),
            // What cannot be decoded is what this is here to find.
            Err(DecodeError::Malformed) => return Err("the log is malformed".into()),
        }
    }
}
