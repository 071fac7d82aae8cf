"""Section 9 of the first Moorhen's datasheet."""
from fractions import Fraction as F

from worked import hexes, nano, transfers

DOCUMENT = "old/moorhen-datasheet.md"
HEADING = "## 9 Worked examples"
W, R = 0x2E, 0x2F  # address 0x17 with the write and the read bit
SENSE = {0: F(36, 10**6), 1: F(9, 10**6)}
BUS = {0: F(7, 1000), 1: F(7, 4000)}


def low_first(word):
    return list(word.to_bytes(2, "little"))


def write(pointer, word):
    return f"S {hexes([W, pointer, *low_first(word)])} P"


def read(pointer, word):
    return f"S {hexes([W, pointer])} Sr {hexes([R, *low_first(word)])} P"


def packed(code, channel=0, count=0):
    """A result word; with the defaults, a limit word."""
    return channel << 15 | code % 4096 << 3 | count % 8


def word(value):
    return f"value = 0x{value:04X}"


def sense(code, bit, ohms):
    volts = code * SENSE[bit]
    return (f"code = {code}; sense range bit = {bit}; sense voltage = {nano(volts)} nV; "
            f"resistance = {nano(ohms)} nΩ; current = {nano(volts / ohms)} nA")


def bus(code, bit):
    return f"code = {code}; bus range bit = {bit}; voltage = {nano(code * BUS[bit])} nV"


def result(channel, count):
    return f"channel = {channel}; count = {count}"


def examples():
    yield "read IDENTITY", read(0x35, 0x91E4), word(0x91E4)
    yield "read MARK after a reset", read(0x36, 0), word(0)
    yield "mark the set-up", write(0x36, 0x2B07), word(0x2B07)
    yield "narrow ranges for the bus of channel 0 and the sense of channel 1", write(0x39, 0x0180), word(0x0180)
    yield "read SENSE_LIMIT_1 after a reset", read(0xB2, packed(2047)), "code = 2047"
    yield "read BUS_LIMIT_0 after a reset", read(0xA1, packed(4095)), "code = 4095"
    yield "limit SENSE_LIMIT_0 to 1.8 A", write(0xA2, packed(500)), sense(500, 0, F(1, 100))
    yield "limit SENSE_LIMIT_1 to 45 mA flowing back", write(0xB2, packed(-500)), sense(-500, 1, F(1, 10))
    yield "limit BUS_LIMIT_1 to 12.6 V", write(0xB1, packed(1800)), bus(1800, 0)
    yield "mask: bus of channel 0 and sense of channel 1 reach the output", write(0x3A, 0x0180), word(0x0180)
    yield "trigger", write(0x53, 0x0001), word(0x0001)
    yield "read PROGRESS, first single-shot in progress", read(0x5C, 0x0400), "busy = 1; clipped = 0x0000; count = 0"
    yield "read PROGRESS, 13 single-shots done, sense of channel 0 clipped", read(0x5C, 0x004D), "busy = 0; clipped = 0x0040; count = 13"
    yield "read SENSE_0", read(0xA6, packed(1000, 0, 1)), f"{result(0, 1)}; {sense(1000, 0, F(1, 100))}"
    yield "read SENSE_0, reverse current", read(0xA6, packed(-1, 0, 5)), f"{result(0, 5)}; {sense(-1, 0, F(1, 100))}"
    yield "read SENSE_1, positive end", read(0xB6, packed(2047, 1, 2)), f"{result(1, 2)}; {sense(2047, 1, F(1, 10))}"
    yield "read SENSE_1, negative end", read(0xB6, packed(-2048, 1, 7)), f"{result(1, 7)}; {sense(-2048, 0, F(1, 50))}"
    yield "read BUS_0", read(0xA5, packed(1886, 0, 1)), f"{result(0, 1)}; {bus(1886, 1)}"
    yield "read BUS_1, full scale", read(0xB5, packed(4095, 1, 8)), f"{result(1, 8)}; {bus(4095, 0)}"
    yield "read CAUSES: bus of channel 0 and sense of channel 1", read(0x3C, 0x0180), word(0x0180)
    yield "clear the one of channel 1", write(0x3C, 0x0100), word(0x0100)
    yield "write with one data byte: ignored", f"S {hexes([W, 0x36, 0x07])} P", "ignored"
    yield "write with three data bytes: ignored", f"S {hexes([W, 0x36, 0x07, 0x2B, 0x00])} P", "ignored"
    yield "trigger with another value: ignored", write(0x53, 0x0100), "ignored"
    yield "read IDENTITY for longer than a word", f"S {hexes([W, 0x35])} Sr {hexes([R, *low_first(0x91E4) * 2, 0xE4])} P", word(0x91E4)
    yield "read a pointer that names nothing", read(0x00, 0), word(0)
    yield "restart", write(0x65, 0xC35A), word(0xC35A)


def section():
    return "\n".join([
        HEADING, "",
        "`S` is START, `Sr` a repeated START, `P` STOP; the bytes are as on the wire, address byte included. The part has address 0x17. "
        "Resistance is that of the sense resistor, `count` the sequence count of PROGRESS. Values are exact.", "",
        *transfers(examples()), ""])
