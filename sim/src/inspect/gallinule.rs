//! Gallinule's commands as data (docs/pmbus-device.md, B1 and B3): all that can be read. Process
//! calls, which need an argument, and commands that can only be written are left out.

use super::description::{
    Access::{self, Both, Read},
    Counts, Description, Field, Form, Measure, Order, Register, Words, flag, named, number,
};
use crate::part::pmbus::{Coefficients, Exponent, Format};

/// What of Gallinule can be read.
///
/// Words are worth what the document's formats say (B1). VOUT_TRIM, a difference, has none there.
pub const GALLINULE: Description = Description {
    name: "Gallinule",
    addresses: &[0x58, 0x59, 0x5A, 0x5B],
    checked: true,
    channels: 4,
    sense_lsb_nv: &[],
    rail_lsb_nv: &[],
    selector: Some(&PAGE),
    registers: REGISTERS,
};

const PAGE: Register = register("PAGE", 0x00, 1, Both, &[named("page", 0, 8, PAGES)]);

const fn register(
    name: &'static str,
    pointer: u8,
    len: u8,
    access: Access,
    fields: &'static [Field],
) -> Register {
    Register::new(name, pointer, len, access, fields).ordered(Order::LowFirst)
}

const fn block(
    name: &'static str,
    pointer: u8,
    len: u8,
    access: Access,
    fields: &'static [Field],
) -> Register {
    Register {
        block: true,
        ..register(name, pointer, len, access, fields)
    }
}

/// A word, in the formats of what it tells.
const fn word(name: &'static str, pointer: u8, access: Access, what: &'static [Field]) -> Register {
    register(name, pointer, 2, access, what)
}

const fn response(name: &'static str, pointer: u8) -> Register {
    const FIELDS: &[Field] = &[pattern("response", 8)];
    register(name, pointer, 1, Both, FIELDS).on(OUTPUTS)
}

const fn pattern(name: &'static str, bits: u8) -> Field {
    Field::new(name, 0, bits, Form::Pattern)
}

const fn characters(count: u8) -> Field {
    Field::new("text", 0, count * 8, Form::Text)
}

const OUTPUTS: &[u8] = &[0, 1, 2];
/// Outputs that tell power.
const POWERED: &[u8] = &[0, 2];
const INPUT: &[u8] = &[3];
const EACH: &[u8] = &[0, 1, 2, 3];

const fn measured(measure: Measure, words: Words) -> Field {
    pattern("word", 16).counting(Counts::Word(measure, words))
}

const FREE: Format = Format::Linear11(Exponent::From(-8));
const FIXED: Format = Format::Linear11(Exponent::Fixed(-6));

const fn linear16(exponent: i8) -> Format {
    Format::Ulinear16 { exponent }
}

const fn direct(m: i16, b: i16, r: i8) -> Format {
    Format::Direct(Coefficients { m, b, r })
}

const VOUT: &[Field] = &[measured(
    Measure::Voltage,
    &[
        (0, linear16(-9)),
        (1, linear16(-12)),
        (2, direct(5000, -1200, -1)),
    ],
)];
const IOUT: &[Field] = &[measured(
    Measure::Current,
    &[(0, FREE), (1, FIXED), (2, direct(800, 475, 0))],
)];
const POUT: &[Field] = &[measured(
    Measure::Power,
    &[(0, FREE), (2, direct(13, -3, 0))],
)];
const VIN: &[Field] = &[measured(Measure::Voltage, &[(3, FREE)])];
const IIN: &[Field] = &[measured(Measure::Current, &[(3, FREE)])];
const PIN: &[Field] = &[measured(Measure::Power, &[(3, FREE)])];

type Names = &'static [(u64, &'static str)];

const PAGES: Names = &[
    (0, "output 0"),
    (1, "output 1"),
    (2, "output 2"),
    (3, "input"),
    (0xFF, "all"),
];
const PROTECTED: Names = &[
    (0x00, "nothing"),
    (
        0x20,
        "all but WRITE_PROTECT, OPERATION, PAGE, ON_OFF_CONFIG, VOUT_COMMAND",
    ),
    (0x40, "all but WRITE_PROTECT, OPERATION, PAGE"),
    (0x80, "all but WRITE_PROTECT"),
];
const SPEEDS: Names = &[(0, "100 kHz"), (1, "400 kHz"), (2, "1 MHz")];
const MODES: Names = &[(0, "linear"), (1, "VID"), (2, "DIRECT")];
const REVISIONS: Names = &[(0, "1.0"), (1, "1.1"), (2, "1.2"), (3, "1.3")];

const CAPABILITIES: &[Field] = &[
    flag("pec", 7),
    named("speed", 5, 2, SPEEDS),
    flag("smbalert", 4),
];
/// The parameter is the exponent of a linear format.
const VOUT_MODE: &[Field] = &[
    named("mode", 5, 3, MODES),
    Field::new("parameter", 0, 5, Form::Signed),
];
const ENERGY: &[Field] = &[
    number("accumulator", 0, 16),
    number("rollovers", 16, 8),
    number("samples", 24, 24),
];

/// The bits of a status register (A2.3), from bit 7 down.
macro_rules! status {
    ($($name:literal $bit:literal),*) => {
        &[$( flag($name, $bit) ),*]
    };
}

const STATUS_BYTE: &[Field] = status!(
    "busy" 7, "off" 6, "vout_ov" 5, "iout_oc" 4, "vin_uv" 3, "temperature" 2, "cml" 1,
    "none_of_above" 0
);
const STATUS_WORD: &[Field] = status!(
    "vout" 15, "iout_pout" 14, "input" 13, "mfr" 12, "power_good_n" 11, "fans" 10, "other" 9,
    "unknown" 8, "busy" 7, "off" 6, "vout_ov" 5, "iout_oc" 4, "vin_uv" 3, "temperature" 2,
    "cml" 1, "none_of_above" 0
);
const STATUS_VOUT: &[Field] = status!(
    "ov_fault" 7, "ov_warning" 6, "uv_warning" 5, "uv_fault" 4, "vout_max" 3, "ton_max" 2,
    "toff_max" 1, "tracking_error" 0
);
const STATUS_IOUT: &[Field] = status!(
    "oc_fault" 7, "oc_low_voltage_fault" 6, "oc_warning" 5, "uc_fault" 4, "current_share" 3,
    "power_limiting" 2, "pout_op_fault" 1, "pout_op_warning" 0
);
const STATUS_INPUT: &[Field] = status!(
    "vin_ov_fault" 7, "vin_ov_warning" 6, "vin_uv_warning" 5, "vin_uv_fault" 4,
    "off_low_input" 3, "iin_oc_fault" 2, "iin_oc_warning" 1, "pin_op_warning" 0
);
const STATUS_CML: &[Field] = status!(
    "invalid_command" 7, "invalid_data" 6, "pec_failed" 5, "memory" 4, "processor" 3,
    "other_communication" 1, "other_memory_logic" 0
);

/// In the order of the document's two tables.
#[rustfmt::skip]
const REGISTERS: &[Register] = &[
    PAGE,
    register("WRITE_PROTECT", 0x10, 1, Both, &[named("protected", 0, 8, PROTECTED)]),
    register("CAPABILITY", 0x19, 1, Read, CAPABILITIES),
    register("VOUT_MODE", 0x20, 1, Read, VOUT_MODE).on(OUTPUTS),
    word("VOUT_OV_WARN_LIMIT", 0x42, Both, VOUT).on(OUTPUTS),
    word("VOUT_UV_WARN_LIMIT", 0x43, Both, VOUT).on(OUTPUTS),
    word("IOUT_OC_WARN_LIMIT", 0x4A, Both, IOUT).on(OUTPUTS),
    word("POUT_OP_WARN_LIMIT", 0x6A, Both, POUT).on(POWERED),
    word("VIN_OV_WARN_LIMIT", 0x57, Both, VIN).on(INPUT),
    word("VIN_UV_WARN_LIMIT", 0x58, Both, VIN).on(INPUT),
    word("IIN_OC_WARN_LIMIT", 0x5D, Both, IIN).on(INPUT),
    word("PIN_OP_WARN_LIMIT", 0x6B, Both, PIN).on(INPUT),
    register("STATUS_BYTE", 0x78, 1, Read, STATUS_BYTE).on(EACH),
    register("STATUS_WORD", 0x79, 2, Read, STATUS_WORD).on(EACH),
    register("STATUS_VOUT", 0x7A, 1, Both, STATUS_VOUT).on(OUTPUTS),
    register("STATUS_IOUT", 0x7B, 1, Both, STATUS_IOUT).on(OUTPUTS),
    register("STATUS_INPUT", 0x7C, 1, Both, STATUS_INPUT).on(INPUT),
    register("STATUS_CML", 0x7E, 1, Both, STATUS_CML),
    block("READ_EIN", 0x86, 6, Read, ENERGY).on(INPUT),
    block("READ_EOUT", 0x87, 6, Read, ENERGY).on(POWERED),
    word("READ_VIN", 0x88, Read, VIN).on(INPUT),
    word("READ_IIN", 0x89, Read, IIN).on(INPUT),
    word("READ_VOUT", 0x8B, Read, VOUT).on(OUTPUTS),
    word("READ_IOUT", 0x8C, Read, IOUT).on(OUTPUTS),
    word("READ_POUT", 0x96, Read, POUT).on(POWERED),
    word("READ_PIN", 0x97, Read, PIN).on(INPUT),
    register("PMBUS_REVISION", 0x98, 1, Read, &[
        named("part_1", 4, 4, REVISIONS), named("part_2", 0, 4, REVISIONS),
    ]),
    block("MFR_ID", 0x99, 5, Read, &[characters(5)]),
    block("MFR_MODEL", 0x9A, 9, Read, &[characters(9)]),
    block("MFR_REVISION", 0x9B, 1, Read, &[characters(1)]),
    block("USER_DATA_00", 0xB0, 4, Both, &[pattern("data", 32)]),

    register("OPERATION", 0x01, 1, Both, &[pattern("operation", 8)]).on(OUTPUTS),
    register("ON_OFF_CONFIG", 0x02, 1, Both, &[pattern("config", 8)]).on(OUTPUTS),
    word("VOUT_COMMAND", 0x21, Both, VOUT).on(OUTPUTS),
    word("VOUT_TRIM", 0x22, Both, &[pattern("word", 16)]).on(OUTPUTS),
    word("VOUT_MAX", 0x24, Both, VOUT).on(OUTPUTS),
    word("VOUT_MARGIN_HIGH", 0x25, Both, VOUT).on(OUTPUTS),
    word("VOUT_MARGIN_LOW", 0x26, Both, VOUT).on(OUTPUTS),
    word("VIN_ON", 0x35, Both, VIN).on(INPUT),
    word("VIN_OFF", 0x36, Both, VIN).on(INPUT),
    word("VOUT_OV_FAULT_LIMIT", 0x40, Both, VOUT).on(OUTPUTS),
    response("VOUT_OV_FAULT_RESPONSE", 0x41),
    word("VOUT_UV_FAULT_LIMIT", 0x44, Both, VOUT).on(OUTPUTS),
    response("VOUT_UV_FAULT_RESPONSE", 0x45),
    word("IOUT_OC_FAULT_LIMIT", 0x46, Both, IOUT).on(OUTPUTS),
    response("IOUT_OC_FAULT_RESPONSE", 0x47),
    word("IOUT_UC_FAULT_LIMIT", 0x4B, Both, IOUT).on(OUTPUTS),
    word("VIN_OV_FAULT_LIMIT", 0x55, Both, VIN).on(INPUT),
    word("VIN_UV_FAULT_LIMIT", 0x59, Both, VIN).on(INPUT),
    word("IIN_OC_FAULT_LIMIT", 0x5B, Both, IIN).on(INPUT),
    word("POUT_OP_FAULT_LIMIT", 0x68, Both, POUT).on(POWERED),
];
