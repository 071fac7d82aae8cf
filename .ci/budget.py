"""Error budgets and choices of `crake-sim shunt`, worked out again with GTC and eseries.

Usage: budget.py PROGRAM
"""
import json
import math
import subprocess
import sys

import eseries
from GTC import ureal, uncertainty

# docs/corncrake-datasheet.md, sections 3.4 and 7: LSB, and gain, offset, noise of one conversion.
SENSE = {500e-9: (0.0020, 10e-6, 2.5e-6), 200e-9: (0.0020, 10e-6, 1.2e-6)}
RAIL = {
    100e-6: (0.0015, 1e-3, 150e-6),
    250e-6: (0.0015, 2.5e-3, 400e-6),
    1e-3: (0.0015, 10e-3, 1.5e-3),
}
BIAS_A = 20e-9


def shunt(**flags):
    named = [f"--{key.replace('_', '-')}={value}" for key, value in flags.items()]
    command = [sys.argv[1], "shunt", "--json", *named]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        sys.exit(f"{named}: {done.stderr}")
    (rail,) = json.loads(done.stdout)["rails"]
    return rail


def rectangular(limit):
    """JCGM 100, 4.3.7."""
    return ureal(0, limit / math.sqrt(3))


def converted(volts, lsb, errors, averaging):
    """What a mean of 2^k conversions shows of a voltage; the part rounds it once more."""
    gain, offset, noise = errors
    scans = 2**averaging
    shown = volts * (1 + rectangular(gain)) + rectangular(offset)
    shown += ureal(0, noise / math.sqrt(scans))
    # F.2.2.1; noise stirs the codes.
    shown += ureal(0, lsb / math.sqrt(12 * scans))
    return shown + ureal(0, lsb / math.sqrt(12)) if averaging else shown


def budget(**flags):
    """Currents and powers of one rail, each with its standard uncertainty."""
    rail = shunt(**flags)
    asked = rail["demands"]
    ohm, volts, averaging = rail["chosen_ohm"], asked["voltage_v"], asked["averaging"]
    (chosen,) = [one for one in rail["candidates"] if one["resistance_ohm"] == ohm]
    sense = min(SENSE, key=lambda lsb: abs(lsb - chosen["code_a"] * ohm))
    of_rail = min(RAIL, key=lambda lsb: abs(lsb - chosen["code_w"] / chosen["code_a"]))
    span = max(abs(celsius - 25) for celsius in asked["ambient_c"])
    rise = asked["greatest_a"] ** 2 * ohm * asked["thermal_resistance_k_per_w"]
    worst = 0
    for found in rail["budgets"]:
        amps = found["current_a"]["value"]
        warm = 1 + rectangular(asked["temperature_coefficient_per_k"] * (span + rise))
        resistor = ohm * (1 + rectangular(asked["tolerance"])) * warm
        across = (amps + rectangular(BIAS_A)) * resistor
        current = converted(across, sense, SENSE[sense], averaging) / ohm
        power = current * converted(volts, of_rail, RAIL[of_rail], averaging)
        for name, value in (("current_a", current), ("power_w", power)):
            ours, theirs = found[name]["standard"], uncertainty(value)
            off = abs(ours / theirs - 1)
            worst = max(worst, off)
            if off > 1e-3:
                sys.exit(f"{flags}: {name} at {amps} A: {ours}, GTC {theirs}")
    return worst


def choices():
    """Each value of a series by the burden that just allows it; by a little less, the one below."""
    exact = {"voltage": 5, "least": 0.1, "greatest": 2, "error": 20, "averaging": 10}
    exact |= {"tolerance": 0, "coefficient": 0}
    number = 0
    for name in ("E12", "E24", "E96"):
        series = getattr(eseries, name)
        for base in eseries.series(series):
            ohm = base / 10 ** math.floor(math.log10(base)) * 1e-3
            for burden in (f"{2 * ohm:.7f}", f"{2 * ohm - 1e-6:.7f}"):
                wanted = eseries.find_less_than_or_equal(series, float(burden) / 2 * (1 + 1e-12))
                found = shunt(series=name.lower(), burden=burden, **exact)["chosen_ohm"]
                number += 1
                if not math.isclose(found, wanted, rel_tol=1e-9):
                    sys.exit(f"{name}, {burden} V at 2 A: {found} ohm, eseries {wanted}")
    return number


worst = max(
    budget(voltage=12, least=0.05, greatest=5, error=5, burden=0.06, averaging=4),
    budget(voltage=3.3, least=0.0005, greatest=0.03, error=9, tolerance=0.1, series="e96"),
    budget(voltage=48, least=2, greatest=20, error=4, series="e12", thermal_resistance=40),
)
print(f"budgets of three rails: standard uncertainties within {worst:.1e} of GTC's")
print(f"{choices()} choices: the same resistors as by eseries")
