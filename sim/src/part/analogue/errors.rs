use alloc::boxed::Box;

/// How the errors of a part that is ordered come about; `I` is what they are.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Errors<I> {
    FromSeed,
    Given(Box<I>),
}

impl<I> Errors<I> {
    pub(crate) fn or_from_seed(self, from_seed: impl FnOnce() -> I) -> I {
        match self {
            Self::FromSeed => from_seed(),
            Self::Given(individual) => *individual,
        }
    }
}
