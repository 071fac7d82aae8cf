use super::Fault;

/// Whom transfers are for, how often they are tried, and what the last failure was about.
#[derive(Debug)]
pub struct Target<E> {
    address: u8,
    pub(super) attempts: u8,
    pub(super) read_max: u8,
    /// The register that was asked for last.
    pub(super) register: u8,
    pub(super) expected: u32,
    /// What was read last, the higher half first.
    pub(super) got: [u32; 2],
    pub(super) bus_error: Option<E>,
}

impl<E> Target<E> {
    pub(super) const fn new(address: u8, attempts: u8) -> Self {
        Self {
            address,
            attempts,
            read_max: u8::MAX,
            register: 0,
            expected: 0,
            got: [0; 2],
            bus_error: None,
        }
    }

    /// The 7-bit address.
    #[must_use]
    pub const fn address(&self) -> u8 {
        self.address
    }

    /// The register that was asked for last.
    pub(crate) const fn register(&self) -> u8 {
        self.register
    }

    /// What was expected and what came, where the last fault is about values.
    pub(crate) const fn values(&self) -> (u32, u32) {
        let [_, got] = self.got;
        (self.expected, got)
    }

    pub(crate) const fn take_bus_error(&mut self) -> Option<E> {
        self.bus_error.take()
    }

    /// Notes two values that should be the same, and gives the fault that says so.
    pub const fn differ(&mut self, fault: Fault, expected: u32, got: u32) -> Fault {
        (self.expected, self.got) = (expected, [0, got]);
        fault
    }

    /// Notes which register a transfer was about, and the bus's own error if it failed.
    ///
    /// # Errors
    /// [`Fault::Bus`] if it failed.
    pub fn noted(&mut self, pointer: u8, result: Result<(), E>) -> Result<(), Fault> {
        self.register = pointer;
        result.map_err(|error| {
            self.bus_error = Some(error);
            Fault::Bus
        })
    }
}
