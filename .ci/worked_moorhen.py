"""Section 9 of Moorhen's datasheet."""
from fractions import Fraction as F

from worked import hexes, nano, transfers

DOCUMENT = "moorhen-datasheet.md"
HEADING = "## 9 Worked examples"
W, R = 0x2E, 0x2F  # address 0x17 with the write and the read bit
SENSE = {0: F(36, 10**6), 1: F(9, 10**6)}
RAIL = {0: F(7, 1000), 1: F(7, 4000)}
# Bits of inputs and channels, sections 3.1 and 3.2.
SENSE_0, SENSE_1, RAIL_0, RAIL_1 = 1 << 4, 1 << 5, 1 << 12, 1 << 13
ENABLE_0, ENABLE_1 = 1 << 8, 1 << 9
DONE, BUSY = 1 << 1, 1 << 15
SHUNT_0, SHUNT_1 = F(1, 100), F(1, 10)


def low_first(word):
    return list(word.to_bytes(2, "little"))


def write(pointer, word):
    return f"S {hexes([W, pointer, *low_first(word)])} P"


def read(pointer, word):
    return f"S {hexes([W, pointer])} Sr {hexes([R, *low_first(word)])} P"


def in_word(code):
    """A code as the word that holds it: two's complement, sign-extended."""
    return code % 2**16


def word(value):
    return f"value = 0x{value:04X}"


def sense(code, bit, ohms):
    volts = code * SENSE[bit]
    return (f"code = {code}; sense range = {bit}; sense voltage = {nano(volts)} nV; "
            f"resistance = {nano(ohms)} nΩ; current = {nano(volts / ohms)} nA")


def rail(code, bit):
    return f"code = {code}; rail range = {bit}; voltage = {nano(code * RAIL[bit])} nV"


def power(sense_code, sense_bit, ohms, rail_code, rail_bit):
    watts = sense_code * SENSE[sense_bit] / ohms * rail_code * RAIL[rail_bit]
    return f"power = {nano(watts)} nW"


def examples():
    wanted = ENABLE_0 | ENABLE_1 | RAIL_0 | SENSE_1
    yield "read IDENTITY", read(0x0B, 0x6B2D), word(0x6B2D)
    yield "read CONFIGURATION after a reset", read(0x1C, 0), word(0)
    yield "configuration: both channels, narrow ranges for rail 0 and sense 1", write(0x1C, wanted), word(wanted)
    yield "clear DONE", write(0x24, DONE), word(DONE)
    yield "trigger", write(0x1F, 0x00B4), word(0x00B4)
    yield "read STATUS, single-shot in progress", read(0x24, BUSY), "busy = 1; done = 0; over range = 0x0000"
    yield "read STATUS, single-shot finished", read(0x24, DONE), "busy = 0; done = 1; over range = 0x0000"
    yield "read SENSE_0", read(0x42, in_word(1000)), sense(1000, 0, SHUNT_0)
    yield ("read RAIL_0 of the same sample", read(0x4A, in_word(1886)),
           f"{rail(1886, 1)}; {power(1000, 0, SHUNT_0, 1886, 1)}")
    yield "read SENSE_1 of the same sample, reverse current", read(0x43, in_word(-125)), sense(-125, 1, SHUNT_1)
    yield ("read RAIL_1 of the same sample", read(0x4B, in_word(1800)),
           f"{rail(1800, 0)}; {power(-125, 1, SHUNT_1, 1800, 0)}")
    yield "read CONFIGURATION, sample is good", read(0x1C, wanted), word(wanted)
    yield "read CONFIGURATION, a reset found", read(0x1C, 0), word(0)
    yield "read STATUS, sense 0 and rail 1 over range", read(0x24, DONE | SENSE_0 | RAIL_1), "busy = 0; done = 1; over range = 0x2010"
    yield "read SENSE_0, least step backwards", read(0x42, in_word(-1)), sense(-1, 0, SHUNT_0)
    yield "read SENSE_0, negative end", read(0x42, in_word(-2048)), sense(-2048, 0, F(1, 50))
    yield "read SENSE_1, positive end", read(0x43, in_word(2047)), sense(2047, 1, SHUNT_1)
    yield "read RAIL_1, full scale", read(0x4B, in_word(4095)), rail(4095, 0)
    yield "read SENSE_LIMIT_1 after a reset", read(0x89, in_word(2047)), "code = 2047"
    yield "read RAIL_LIMIT_0 after a reset", read(0x8E, in_word(4095)), "code = 4095"
    yield "limit SENSE_LIMIT_0 to 1.8 A", write(0x88, in_word(500)), sense(500, 0, SHUNT_0)
    yield "limit SENSE_LIMIT_1 to 45 mA flowing back", write(0x89, in_word(-500)), sense(-500, 1, SHUNT_1)
    yield "limit RAIL_LIMIT_1 to 12.6 V", write(0x8F, in_word(1800)), rail(1800, 0)
    yield "mask: sense 0 and rail 1 reach the output", write(0x72, SENSE_0 | RAIL_1), word(SENSE_0 | RAIL_1)
    yield "read ALERT_FLAGS: sense 0 and rail 1", read(0x71, SENSE_0 | RAIL_1), word(SENSE_0 | RAIL_1)
    yield "clear the flag of sense 0", write(0x71, SENSE_0), word(SENSE_0)
    yield "read ALERT_FLAGS: rail 1 stays", read(0x71, RAIL_1), word(RAIL_1)
    yield "write with one data byte: ignored", f"S {hexes([W, 0x72, 0x10])} P", "ignored"
    yield "write with three data bytes: ignored", f"S {hexes([W, 0x72, 0x10, 0x20, 0x00])} P", "ignored"
    yield "trigger with another value: ignored", write(0x1F, 0xB400), "ignored"
    yield ("read IDENTITY for longer than a word",
           f"S {hexes([W, 0x0B])} Sr {hexes([R, *low_first(0x6B2D) * 2, 0x2D])} P", word(0x6B2D))
    yield "read a pointer that names nothing", read(0x00, 0), word(0)
    yield "restart", write(0xD6, 0x3AC9), word(0x3AC9)


def section():
    return "\n".join([
        HEADING, "",
        "`S` is START, `Sr` a repeated START, `P` STOP. The bytes are as on the wire, address byte",
        "included. The part has address 0x17. Resistance is that of the sense resistor. Values are",
        "exact.",
        "", *transfers(examples()), ""])
