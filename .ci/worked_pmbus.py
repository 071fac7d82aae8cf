"""Section B8 of the PMBus document, and the check bytes of its part A.

Check bytes come from two packages that share nothing, `crcmod` and `crc`.
"""
import re
from fractions import Fraction as F
from pathlib import Path

import crcmod
from crc import Calculator, Configuration

from worked import hexes

DOCUMENT = "pmbus-device.md"
HEADING = "## B8 Worked examples"
W, R = 0xB0, 0xB1  # address 0x58 with the write and the read bit
one = crcmod.mkCrcFun(0x107, initCrc=0, rev=False, xorOut=0)
other = Calculator(Configuration(width=8, polynomial=0x07)).checksum


def pec(data):
    assert one(bytes(data)) == other(bytes(data))
    return one(bytes(data))


def word(value):
    return list((value % 65536).to_bytes(2, "little"))


def write(command, *data):
    body = [W, command, *data]
    return f"S {hexes([*body, pec(body)])} P"


def read(command, data, out=()):
    head = [W, command, *out]
    return f"S {hexes(head)} Sr {hexes([R, *data, pec([*head, R, *data])])} P"


def block(data):
    return [len(data), *data]


def linear(x, least=-8, fixed=False):
    """The word, and the value that it decodes to."""
    for n in range(least, 16):
        y = round(F(x) / F(2) ** n)  # halves to even
        if fixed:
            y = max(-1024, min(1023, y))
        if -1024 <= y <= 1023:
            return (n % 32) << 11 | y % 2048, y * F(2) ** n
    raise ValueError(x)


def unsigned(x, n):
    y = round(F(x) / F(2) ** n)
    return y, y * F(2) ** n


def direct(x, m, b, r):
    y = round((m * F(x) + b) * F(10) ** r)
    return y, (y * F(10) ** -r - b) / m


def decimal(x):
    """An exact decimal; what has none is a fraction."""
    x = F(x)
    for digits in range(20):
        if (x * 10**digits).denominator == 1:
            whole = f"{abs(int(x * 10**digits)):0{digits + 1}d}"
            sign = "-" if x < 0 else ""
            return sign + (whole if digits == 0 else f"{whole[:-digits]}.{whole[-digits:]}")
    return f"{x.numerator}/{x.denominator}"


def energy(total, samples, period):
    return block([*word(total % period), total // period % 256, *samples.to_bytes(3, "little")])


VOUT2, IOUT2, POUT2 = (5000, -1200, -1), (800, 475, 0), (13, -3, 0)


def readings():
    """page, name, command, unit, volts, amps, (word, value)"""
    yield 0, "READ_VOUT", 0x8B, "V", F("3.3"), F("4.2"), unsigned(F("3.3"), -9)
    yield 0, "READ_IOUT", 0x8C, "A", F("3.3"), F("4.2"), linear(F("4.2"))
    yield 0, "READ_POUT", 0x96, "W", F("3.3"), F("4.2"), linear(F("3.3") * F("4.2"))
    yield 0, "READ_IOUT", 0x8C, "A", F("3.3"), F(-25), linear(-25)
    yield 1, "READ_VOUT", 0x8B, "V", F("1.2"), F("-1.5"), unsigned(F("1.2"), -12)
    yield 1, "READ_IOUT", 0x8C, "A", F("1.2"), F("-1.5"), linear(F("-1.5"), -6, True)
    yield 2, "READ_VOUT", 0x8B, "V", F(48), F("-1.25"), direct(48, *VOUT2)
    yield 2, "READ_VOUT", 0x8B, "V", F(0), F(0), direct(0, *VOUT2)
    yield 2, "READ_IOUT", 0x8C, "A", F(48), F("-1.25"), direct(F("-1.25"), *IOUT2)
    yield 2, "READ_POUT", 0x96, "W", F(48), F("-1.25"), direct(48 * F("-1.25"), *POUT2)
    yield 3, "READ_VIN", 0x88, "V", F(54), F("0.7"), linear(54)
    yield 3, "READ_IIN", 0x89, "A", F(54), F("0.7"), linear(F("0.7"))
    yield 3, "READ_PIN", 0x97, "W", F(54), F("0.7"), linear(54 * F("0.7"))


def examples():
    """what, state before, transfers, values"""
    yield "select page 2", "", write(0x00, 2), ""
    yield "read PAGE back", "page 2", read(0x00, [2]), ""
    yield "page 4 does not exist", "", f"S {hexes([W, 0, 4])}! P {read(0x7E, [0x40])}", "invalid data"
    yield "VOUT_MODE", "page 1", read(0x20, [0x14]), "ULINEAR16, N = -12"
    for page, name, command, unit, volts, amps, (raw, value) in readings():
        yield (f"{name}", f"page {page}; {decimal(volts)} V; {decimal(amps)} A", read(command, word(raw)), f"{decimal(value)} {unit}")
    total = 11 * 32768 + 0x6553
    yield "READ_EOUT", f"page 0; {total} counts; {0x0C4E} samples", read(0x87, energy(total, 0x0C4E, 32768)), f"{decimal(F(total, 10))} W × samples"
    total = 11 * 32767 + 0x6553
    yield "READ_EOUT, period 32767", f"page 2; {total} counts; {0x0C4E} samples", read(0x87, energy(total, 0x0C4E, 32767)), f"{total} W × samples"
    total = 256 * 32768 - 1
    yield "READ_EIN, about to wrap", f"page 3; {total} counts; {2**24 - 1} samples", read(0x86, energy(total, 2**24 - 1, 32768)), f"{total} W × samples"
    yield "COEFFICIENTS of READ_IOUT", "page 2", read(0x30, block([*word(800), *word(475), 0]), block([0x8C, 1])), "m = 800; b = 475; R = 0"
    yield "COEFFICIENTS of READ_VOUT", "page 2", read(0x30, block([*word(5000), *word(-1200), 0xFF]), block([0x8B, 1])), "m = 5000; b = -1200; R = -1"
    yield "QUERY of READ_VOUT", "page 0", read(0x1A, block([0xA0]), block([0x8B])), "supported, read, LINEAR"
    yield "QUERY of VOUT_OV_WARN_LIMIT", "page 2", read(0x1A, block([0xEC]), block([0x42])), "supported, read and write, DIRECT"
    yield "QUERY of READ_POUT", "page 1", read(0x1A, block([0x00]), block([0x96])), "not supported"
    yield "CAPABILITY", "", read(0x19, [0xB0]), ""
    yield "PMBUS_REVISION", "", read(0x98, [0x22]), ""
    yield "MFR_ID", "", read(0x99, block(list(b"CRAKE"))), ""
    yield "MFR_MODEL", "", read(0x9A, block(list(b"GALLINULE"))), ""
    yield "mask, write and read back", "page 0", f"{write(0x1B, 0x7A, 0x3F)} {read(0x1B, block([0x3F]), block([0x7A]))}", "STATUS_VOUT: OV fault and OV warning get through"
    yield "mask after reset", "page 3", read(0x1B, block([0x63]), block([0x7C])), ""
    mark = [0x4E, 0x91, 0x02, 0xC7]
    yield "USER_DATA_00, write and read back", "", f"{write(0xB0, *block(mark))} {read(0xB0, block(mark))}", ""
    limit, value = linear(F("3.3"), -16)
    kept, kept_value = linear(value, -6, True)
    yield ("IOUT_OC_WARN_LIMIT is kept in the page's exponent", "page 1", f"{write(0x4A, *word(limit))} {read(0x4A, word(kept))}",
           f"{decimal(value)} A written; {decimal(kept_value)} A in force")
    low, _ = unsigned(F("3.2"), -9)
    high, _ = unsigned(F("3.4"), -9)
    yield ("a limit passed, cleared while it is, and when it is not", "page 0; 3.3 V; 1 A",
           " ".join([write(0x42, *word(low)), "~", read(0x79, word(0x8001)), read(0x7A, [0x40]), write(0x7A, 0x40), read(0x7A, [0x40]),
                     write(0x42, *word(high)), write(0x7A, 0x40), read(0x7A, [0]), "~", read(0x79, word(0))]),
           "OV warning; set again at once; gone")
    yield "not supported, refused", "page 1", f"S {hexes([W, 0x96])}! P {read(0x7E, [0x80])} {write(0x7E, 0x80)} {read(0x7E, [0])}", "invalid command"
    yield "not supported, taken", "page 2", f"S {hexes([W, 0x88])} Sr {hexes([R, 0xFF, 0xFF, 0xFF])} P {read(0x7E, [0x80])}", "invalid command"
    bad = pec([W, 0x00, 2]) ^ 1
    yield "wrong PEC", "page 1", f"S {hexes([W, 0x00, 2, bad])}! P {read(0x00, [1])} {read(0x7E, [0x20])}", "PEC failed; ignored"
    yield "without PEC", "page 1", f"S {hexes([W, 0x00, 2])} P S {hexes([W, 0x00])} Sr {hexes([R, 2])} P", ""
    yield ("to all pages", "page 0", " ".join([write(0x00, 0xFF), write(0x43, *word(0x0123)), write(0x00, 1), read(0x43, word(0x0123)), write(0x00, 2), read(0x43, word(0x0123))]), "")
    yield "PAGE is FF: no reading", "page 255", f"S {hexes([W, 0x79])} Sr {hexes([R, 0xFF, 0xFF, 0xFF])} P {read(0x7E, [0x40])}", "invalid data"
    low, _ = linear(F(-100), -16)
    yield ("alert response, then nobody", "page 3; 54 V; 0.7 A",
           " ".join([write(0x55, *word(low)), "~", f"S 19 {hexes([W, pec([0x19, W])])} P", "S 19! P", read(0x7C, [0x80])]),
           "VIN OV fault (not masked); a driver never writes that limit")


def part_a():
    """Part A gives check bytes that were worked out long before; they must come out again."""
    text = (Path(__file__).resolve().parent.parent / "docs" / DOCUMENT).read_text(encoding="utf-8")
    rows = re.findall(r"^\| [^|]+ \| 0x[0-9A-F]{2} \| `([0-9A-F ]+)` \| `([0-9A-F]{2})` \|$", text, re.M)
    assert len(rows) == 26, len(rows)
    for covered, expected in rows:
        assert pec(bytes.fromhex(covered)) == int(expected, 16), covered


BEFORE = """\
A device without errors at 0x58, after a reset. "Before" says which page is selected, what the
page's rail does (for more than a sample period already), and what its energy count holds. Bytes are
as on the wire, address byte included; `!` behind a byte: not acknowledged; `~`: a sample period
goes by. Every transfer ends with the PEC unless it is about that. Values are exact.
"""


def section():
    part_a()
    lines = [HEADING, "", BEFORE,
             "| # | what | before | bytes | values |", "|---|---|---|---|---|"]
    lines += [f"| {n} | {what} | {before} | `{transfers}` | {values} |" for n, (what, before, transfers, values) in enumerate(examples(), 1)]
    return "\n".join([*lines, ""])
