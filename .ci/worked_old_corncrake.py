"""Section 10 of Corncrake's datasheet: check bytes and the frame's CRC come from the PyPI package `crcmod`."""
from fractions import Fraction as F

import crcmod

from worked import hexes, nano, transfers

DOCUMENT = "old/corncrake-datasheet.md"
HEADING = "## 10 Worked examples"
W, R = 0x64, 0x65  # address 0x32 with the write and the read bit
pec = crcmod.mkCrcFun(0x107, initCrc=0, rev=False, xorOut=0)
# crcmod gives the initial value after the final exclusive-or: 0 here means a register of 0xFFFF.
crc16 = crcmod.mkCrcFun(0x11021, initCrc=0, rev=False, xorOut=0xFFFF)
assert pec(b"123456789") == 0xF4 and crc16(b"123456789") == 0xD64E


def be(value, width):
    return list((value % (1 << (8 * width))).to_bytes(width, "big"))


def write(pointer, data, check=True, spoil=0):
    body = [W, pointer, *data]
    tail = [pec(bytes(body)) ^ spoil] if check else []
    return f"S {hexes(body + tail)} P"


def read(pointer, data, check=True):
    tail = [pec(bytes([W, pointer, R, *data]))] if check else []
    return f"S {hexes([W, pointer])} Sr {hexes([R, *data, *tail])} P"


SENSE = {0: F(500, 10**9), 1: F(200, 10**9)}
BUS = {0: F(100, 10**6), 1: F(250, 10**6), 2: F(1, 1000)}


def sense_values(code, sense_range, ohms):
    v = code * SENSE[sense_range]
    return (f"code = {code}; sense range = {sense_range}; sense voltage = {nano(v)} nV; "
            f"resistance = {nano(ohms)} nΩ; current = {nano(v / ohms)} nA")


def bus_values(code, bus_range):
    return f"code = {code}; bus range = {bus_range}; voltage = {nano(code * BUS[bus_range])} nV"


def power_values(code, sense_range, bus_range, ohms):
    p = code * SENSE[sense_range] * BUS[bus_range] / ohms
    return (f"code = {code}; sense range = {sense_range}; bus range = {bus_range}; "
            f"resistance = {nano(ohms)} nΩ; power = {nano(p)} nW")


def examples():
    milli = F(1, 1000)
    yield "read IDENTITY", read(0x00, be(0x9E37C401, 4)), "value = 0x9E37C401"
    yield "read SERIAL", read(0x01, be(0x0007, 2)), "value = 0x0007"
    yield "enable channels 0, 1 and 3", write(0x05, [0x0B]), "value = 0x0B"
    yield ("ranges: channel 0 16.384 V and 65.536 mV, 1 6.5536 V and 26.2144 mV, 2 6.5536 V and 65.536 mV, 3 65.536 V and 26.2144 mV",
           write(0x06, be(0x6041, 2)), "value = 0x6041")
    yield "means of 16 rounds", write(0x07, [0x04]), "value = 0x04"
    yield "run at 2000 rounds a second; tag 0x01, seen 0x00", write(0x04, [0x10, 0x01, 0x00]), "value = 0x100100"
    yield "latch, no check byte; tag 0x02, seen 0x01", write(0x03, [0x02, 0x01], check=False), "value = 0x0201"
    yield "read SENSE_1", read(0x61, be(84000, 3)), sense_values(84000, 0, 10 * milli)
    yield "read SENSE_2, reverse current", read(0x62, be(-7500, 3)), sense_values(-7500, 1, F(1))
    yield "read SENSE_3, negative end", read(0x63, be(-131072, 3)), sense_values(-131072, 0, F(4, 1000))
    yield "read SENSE_0, smallest step, no check byte", read(0x60, be(1, 3), check=False), sense_values(1, 1, F(10))
    yield "read BUS_0", read(0x64, be(33000, 2)), bus_values(33000, 0)
    yield "read BUS_2, full scale", read(0x66, be(65535, 2)), bus_values(65535, 1)
    yield "read BUS_3", read(0x67, be(48250, 2)), bus_values(48250, 2)
    yield "read POWER_0", read(0x68, be(84000 * 33000, 5)), power_values(84000 * 33000, 0, 0, 10 * milli)
    yield "read POWER_1, power flowing back", read(0x69, be(-7500 * 48250, 5)), power_values(-7500 * 48250, 1, 2, F(1, 10))
    charge = -1234567890123
    yield ("read CHARGE_2, code over round period 500 µs", read(0x6E, be(charge, 6)),
           f"code = {charge}; sense range = 0; resistance = {nano(F(5, 1000))} nΩ; "
           f"charge = {nano(charge * SENSE[0] / F(5, 1000) * F(1, 2000))} nC")
    energy = 123456789012345600
    yield ("read ENERGY_0, code over round period 500 µs", read(0x70, be(energy, 8)),
           f"code = {energy}; sense range = 0; bus range = 0; resistance = {nano(10 * milli)} nΩ; "
           f"energy = {nano(energy * SENSE[0] * BUS[0] / (10 * milli) * F(1, 2000))} nJ")
    yield ("limit OVER_CURRENT_1 to 3.2 A", write(0x1A, be(64000, 3)), sense_values(64000, 0, 10 * milli))
    yield ("limit UNDER_VOLTAGE_0 to 3.3 V", write(0x11, be(13200, 2)), bus_values(13200, 1))
    yield ("limit OVER_POWER_2 to 10 W", write(0x24, be(10**9, 5)), power_values(10**9, 0, 1, F(1, 80)))
    yield "debounce of channel 3: 1, 4, 15, 2, 3 for kinds 0 to 4", write(0x33, be(0x032F41, 3)), "value = 0x032F41"
    yield "mask A: over-current of channels 0 and 3, reset seen", write(0x35, be((1 << 2) | (1 << 17) | (1 << 22), 3)), "value = 0x420004"
    yield "read CAUSES: over-current of channel 3", read(0x37, be(1 << 17, 3)), "value = 0x020000"
    yield "clear it", write(0x37, be(1 << 17, 3)), "value = 0x020000"
    yield "write with a wrong check byte: last byte not acknowledged, ignored", write(0x07, [0x04], spoil=0x01), "refused"
    yield "alert response", f"S 19 {hexes([W, pec(bytes([0x19, W]))])} P", "address = 0x32"


CHANNELS = [  # sense, bus, power, charge, energy
    (84000, 33000, 84000 * 33000, 987654321, 32592592600000),
    (-7500, 48250, -361875000, -15000000, -723750000000),
    (131071, 65535, 131071 * 65535, (1 << 43) - 1, (1 << 59) - 1),
    (-131072, 0, 0, -(1 << 43), -(1 << 59)),
]


def frame():
    fields = [("tag", 1, 0x5A), ("serial", 2, 0x0123), ("mode", 1, 0x11), ("set-up", 1, 0x4F), ("ranges", 2, 0x6041),
              ("flags", 2, 0x4010), ("rounds", 4, 0x0ABCDEF0)]
    for c, values in enumerate(CHANNELS):
        for name, width, value in zip(("sense", "bus", "power", "charge", "energy"), (3, 2, 5, 6, 8), values):
            fields.append((f"{name} {c}", width, value))
    data = [b for _, width, value in fields for b in be(value, width)]
    assert len(data) == 109
    fields.append(("crc", 2, crc16(bytes(data))))
    return fields, data + be(crc16(bytes(data)), 2)


def reset_frame():
    data = [0, 0, 0, 0, 0x0F, 0x22, 0x22, 0x80, 0x00] + [0] * 100
    assert len(data) == 109
    return data + be(crc16(bytes(data)), 2)


def section():
    lines = [HEADING, "",
             "`S` is START, `Sr` a repeated START, `P` STOP; the bytes are as on the wire, address byte included. The part has address 0x32. "
             "Every transfer ends with the check byte unless it says otherwise. Resistance is that of the sense resistor. Values are exact.", "",
             *transfers(examples())]
    fields, data = frame()
    lines += ["", "### 10.1 A frame block", "", "Read from pointer 0x80 in one transfer; the last byte before `P` is the check byte.", "", "```text"]
    whole = read(0x80, data).split()
    lines += [" ".join(whole[i:i + 24]) for i in range(0, len(whole), 24)]
    lines += ["```", "", "| field | value |", "|---|---|"]
    lines += [f"| {name} | {value if ' ' in name else hex(value)} |" for name, _, value in fields]
    lines += ["", "### 10.2 The frame block after a reset", "", "```text"]
    whole = read(0x80, reset_frame()).split()
    lines += [" ".join(whole[i:i + 24]) for i in range(0, len(whole), 24)]
    return "\n".join([*lines, "```", ""])
