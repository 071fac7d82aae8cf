//! The mutants of Gallinule's map.

use crake::old::part::Spec;
use crake::old::part::pmbus::gallinule::SPEC;

use super::Tamper;
use super::decoding::Decoding;
use super::operating::{How, operating};

/// Every mutant of Gallinule.
pub static GALLINULE: &[&dyn Tamper] = &[
    &Decoding::WrongSpec("the unit of current wrong in the Spec", &WRONG_UNIT),
    &operating("nothing refused", "refusals", How::TakesEverything),
    &Decoding::SenseSignLost(18),
    &Decoding::ChannelsReversed(4),
    &Decoding::PowerSignLost(40),
    &Decoding::ClippingLost,
    &Decoding::ClippingExchanged,
    &operating("check byte ignored", "check-byte", How::NotVerified),
    &Decoding::ResetIgnored,
    &operating("effort too small", "longest-time", How::Short),
];

static WRONG_UNIT: Spec = Spec {
    sense_unit_nv: 50_000,
    ..SPEC
};
