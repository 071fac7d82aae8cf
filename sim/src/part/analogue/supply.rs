/// Charge that a part drew so far. Time is added when what it draws changes, so conversions cost
/// nothing here.
#[derive(Debug)]
pub struct Supply {
    current_na: u32,
    since_ns: u64,
    charge_na_ns: u128,
}

impl Supply {
    /// From time 0 on the part draws `current_na` nanoamperes.
    pub fn new(current_na: u32) -> Self {
        Self {
            current_na,
            since_ns: 0,
            charge_na_ns: 0,
        }
    }

    /// From `at_ns` on the part draws `current_na` nanoamperes.
    pub fn draw(&mut self, current_na: u32, at_ns: u64) {
        if self.current_na != current_na {
            self.charge_na_ns = self.charge_na_ns(at_ns);
            self.since_ns = at_ns;
            self.current_na = current_na;
        }
    }

    /// Charge drawn from time 0 to `at_ns`, in nA·ns.
    pub fn charge_na_ns(&self, at_ns: u64) -> u128 {
        let lasting_ns = at_ns.saturating_sub(self.since_ns);
        self.charge_na_ns + u128::from(self.current_na) * u128::from(lasting_ns)
    }
}
