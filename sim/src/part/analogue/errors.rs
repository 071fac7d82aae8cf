use alloc::boxed::Box;

/// How the errors of a part that is ordered come about; `I` is what they are.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Errors<I> {
    Drawn,
    Given(Box<I>),
}

impl<I> Errors<I> {
    pub(crate) fn or_drawn(self, draw: impl FnOnce() -> I) -> I {
        match self {
            Self::Drawn => draw(),
            Self::Given(individual) => *individual,
        }
    }
}
