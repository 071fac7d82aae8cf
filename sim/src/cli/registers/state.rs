use crake::old::part::description::{Description, Register};

use crate::bench::Bench;
use crate::cli::text;
use crate::old::inspect::{Contents, Inspector, Resistor, Scales};

/// A part at one moment of a run.
pub(super) struct State {
    pub(super) title: String,
    pub(super) seed: u64,
    /// When the reading began.
    pub(super) time_ns: u64,
    pub(super) address: u8,
    pub(super) description: &'static Description,
    /// With contents where there is something to read: what the whole part has, then page by page.
    pub(super) registers: Vec<(&'static Register, Option<Contents>)>,
    pub(super) scales: Scales,
}

impl State {
    /// Looks at these registers of the part at an address of a bench.
    pub(super) fn read(
        title: String,
        bench: &Bench,
        (address, description): (u8, &'static Description),
        registers: Vec<&'static Register>,
        resistors: &[Resistor],
    ) -> Result<Self, String> {
        let time_ns = bench.now_ns();
        let mut inspector = Inspector::new(bench.i2c(), address, description);
        let scales = inspector.scales(resistors).map_err(text)?;
        let mut contents = Vec::new();
        for register in registers {
            if register.access.is_open() {
                let each = inspector.read_each(register.name).map_err(text)?;
                contents.extend(each.into_iter().map(|one| (register, Some(one))));
            } else {
                contents.push((register, None));
            }
        }
        contents.sort_by_key(|(_, contents)| contents.as_ref().and_then(Contents::page));
        Ok(Self {
            title,
            seed: bench.seed(),
            time_ns,
            address,
            description,
            registers: contents,
            scales,
        })
    }
}
