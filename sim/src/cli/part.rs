//! The parts, as flags name them.

use crake::info::PartInfo;
use crake::part::{corncrake, moorhen, pmbus::gallinule};

/// One of this crate's parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum PartName {
    Corncrake,
    Moorhen,
    Gallinule,
}

impl PartName {
    pub(super) const fn info(self) -> &'static PartInfo {
        match self {
            Self::Corncrake => &corncrake::INFO,
            Self::Moorhen => &moorhen::INFO,
            Self::Gallinule => &gallinule::INFO,
        }
    }

    /// The part of a scenario.
    pub(super) fn of(info: &PartInfo) -> Result<Self, String> {
        let all = [Self::Corncrake, Self::Moorhen, Self::Gallinule];
        let mut named = all.into_iter();
        named
            .find(|part| part.info().name == info.name)
            .ok_or_else(|| format!("--scenario: its {} is a part of somebody else", info.name))
    }
}
