"""Transients of ngspice against the bench's rails.

Scenario and netlist of each case are made from the same stated parameters. Compared are current and
voltage at the load's side, at every step: they may differ by 0.1 % of the range that each goes
through, a jump aside while ngspice takes its nanoseconds for it.
"""

import csv
import subprocess
import sys
from pathlib import Path

TOLERANCE = 0.001

RAIL = """
[[rail]]
name = "{name}"
channel = {channel}
sense.resistance_ohm = 0.01
sense.tolerance_percent = 0
sense.temperature_coefficient_ppm_per_k = 0
sense.thermal_resistance_k_per_w = 0
sense.sense_full_scale_v = 0.06
sense.rail_full_scale_v = 16
load_declared = {{ steps_per_hour = 0, step_a = 0, flow = "both", greatest_a = 10 }}
source = {{ {source} }}
load = {{ {load} }}
"""


def scenario(duration, *rails):
    head = f'title = "t"\nduration_s = {duration}\nhost.read_every_s = 0.001\n'
    return head + "part = { scan_rate = 2000 }\n" + "".join(
        RAIL.format(name=name, channel=channel, source=source, load=load)
        for channel, (name, source, load) in enumerate(rails)
    )


def constant_power():
    """A supply that gives in: the load takes its power while it can, then it is a resistance."""
    begin, end, from_s, to_s, ohm, power, least = 12.0, 8.0, 0.002, 0.018, 0.5, 20.0, 8.0
    return dict(
        step=0.0001,
        scenario=scenario(
            0.02,
            (
                "ONE",
                f'kind = "ramp", from_v = {begin}, start_s = {from_s}, to_v = {end}, end_s = {to_s}, impedance_ohm = {ohm}',
                f'kind = "constant_power", power_w = {power}, down_to_v = {least}',
            ),
        ),
        netlist=f"""
Vsource open 0 PWL(0 {begin} {from_s} {begin} {to_s} {end})
Rsource open in {ohm}
Vsense in load 0
Bload load 0 I = V(load) > {least} ? {power}/V(load) : V(load)*{power}/({least}*{least})
.tran 10u 20m 0 10u
""",
        compared=[("ONE current_a", "i(vsense)"), ("ONE voltage_v", "v(load)")],
    )


def inrush():
    """A capacitor that is plugged in beside a resistance."""
    volt, ohm, farad, series, resistance, closes = 5.0, 0.4, 0.00022, 0.6, 25.0, 0.002
    return dict(
        step=0.00002,
        scenario=scenario(
            0.01,
            (
                "ONE",
                f'kind = "constant", voltage_v = {volt}, impedance_ohm = {ohm}',
                'kind = "sum", parts = ['
                f'{{ kind = "resistance", resistance_ohm = {resistance} }}, '
                f'{{ kind = "inrush", capacitance_f = {farad}, series_ohm = {series}, closes_s = {closes} }}]',
            ),
        ),
        netlist=f"""
Vsource open 0 {volt}
Rsource open in {ohm}
Vsense in load 0
Rload load 0 {resistance}
Vcontrol control 0 PWL(0 0 {closes} 0 {closes + 1e-9} 1)
Splug load plug control 0 contact
.model contact sw vt=0.5 vh=0 ron=1u roff=1g
Rseries plug top {series}
Cload top 0 {farad} ic=0
.tran 1u 10m 0 1u uic
""",
        compared=[("ONE current_a", "i(vsense)"), ("ONE voltage_v", "v(load)")],
        jumps=[closes],
    )


def charger():
    """An empty cell: trickle, constant current, constant voltage, end. The cell is a capacitor
    while its table is straight."""
    ampere_hours, least, greatest, initial, ohm = 0.5, 2.5, 4.5, 0.2, 0.5
    trickle, below, bulk, full, end = 0.02, 3.0, 0.4, 4.2, 0.04
    farad = ampere_hours * 3600 / (greatest - least)
    volt = least + initial * (greatest - least)
    return dict(
        step=17,
        scenario=scenario(
            17000,
            (
                "ONE",
                f'kind = "cell", capacity_ah = {ampere_hours}, initial_state = {initial}, open_circuit = [[0, {least}], [1, {greatest}]], impedance_ohm = {ohm}',
                f'kind = "charger", trickle_a = {trickle}, trickle_below_v = {below}, constant_current_a = {bulk}, constant_voltage_v = {full}, end_a = {end}',
            ),
        ).replace("read_every_s = 0.001", "read_every_s = 1"),
        netlist=f"""
Ccell open 0 {farad} ic={volt}
Rcell open in {ohm}
Vsense in load 0
Bcharger 0 load I = V(open) < {below} ? {trickle} : (({full}-V(open))/{ohm} < {end} ? 0 : min({bulk}, ({full}-V(open))/{ohm}))
.tran 1 17000 0 0.2 uic
""",
        compared=[("ONE current_a", "i(vsense)"), ("ONE voltage_v", "v(load)")],
    )


def converter():
    """A converter whose output's load goes up and down in edges, and whose input is buffered."""
    volt, ohm, farad, series = 12.0, 0.3, 0.0001, 0.1
    out_volt, out_ohm, efficiency, idle, least = 5.0, 0.1, 0.9, 0.1, 6.0
    low, high, period, width, first, edge = 0.1, 2.0, 0.005, 0.002, 0.001, 0.0002
    # Charged before: the input rests at the voltage that the load at rest leaves.
    power = idle + out_volt * low / efficiency
    rests = (volt + (volt**2 - 4 * ohm * power) ** 0.5) / 2
    return dict(
        step=0.00005,
        scenario=scenario(
            0.02,
            (
                "IN",
                f'kind = "constant", voltage_v = {volt}, impedance_ohm = {ohm}',
                f'kind = "inrush", capacitance_f = {farad}, series_ohm = {series}, initial_v = {rests:.9f}',
            ),
            (
                "OUT",
                f'kind = "converter", input = "IN", voltage_v = {out_volt}, efficiency = {efficiency}, idle_w = {idle}, input_down_to_v = {least}, impedance_ohm = {out_ohm}',
                f'kind = "pulses", low_a = {low}, high_a = {high}, period_s = {period}, width_s = {width}, first_s = {first}, edge_s = {edge}',
            ),
        ),
        netlist=f"""
Vsource open 0 {volt}
Rsource open in {ohm}
Vsense in load 0
Rseries load top {series}
Cload top 0 {farad} ic={rests}
Vout out 0 {out_volt}
Rout out senseout {out_ohm}
Vsenseout senseout loadout 0
Iload loadout 0 PULSE({low} {high} {first} {edge} {edge} {width - edge} {period})
Bconverter load 0 I = V(load) > {least} ? ({idle} + V(out)*i(Vsenseout)/{efficiency})/V(load) : V(load)*({idle} + V(out)*i(Vsenseout)/{efficiency})/({least}*{least})
.tran 2u 20m 0 2u uic
""",
        compared=[
            ("IN current_a", "i(vsense)"),
            ("IN voltage_v", "v(load)"),
            ("OUT current_a", "i(vsenseout)"),
            ("OUT voltage_v", "v(loadout)"),
        ],
    )


def spice(netlist, names, path):
    """Rows of time and values."""
    wanted = f"wrdata {path}/spice.data {' '.join(names)}"
    control = f".control\nset wr_singlescale\nset numdgt=10\nrun\n{wanted}\nquit\n.endc"
    options = ".options reltol=1e-5 abstol=1e-9 vntol=1e-7"
    (path / "netlist").write_text(f"* transient\n{netlist}\n{options}\n{control}\n.end\n")
    done = subprocess.run(["ngspice", "-b", str(path / "netlist")], capture_output=True, text=True)
    data = path / "spice.data"
    if not data.exists():
        sys.exit(f"ngspice made no transient:\n{done.stdout}\n{done.stderr}")
    return [[float(cell) for cell in line.split()] for line in data.read_text().splitlines()]


def at(rows, time, position):
    """Value at a time, straight between rows; rows[position] begins at or before it."""
    while rows[position + 1][0] < time:
        position += 1
    one, other = rows[position], rows[position + 1]
    share = (time - one[0]) / (other[0] - one[0])
    return position, [low + share * (high - low) for low, high in zip(one[1:], other[1:])]


def compare(name, case, trajectory, path):
    path.mkdir()
    (path / "scenario.toml").write_text(case["scenario"])
    command = [trajectory, str(path / "scenario.toml"), str(case["step"])]
    table = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    bench = list(csv.DictReader(table.splitlines()))
    rows = spice(case["netlist"], [expression for _, expression in case["compared"]], path)
    # The first rows are ngspice's way from nothing to the initial state.
    jumps = case.get("jumps", [])
    is_far = lambda row: all(abs(float(row["time_s"]) - jump) > 1e-7 for jump in jumps)
    bench = list(filter(is_far, bench[1:-1]))
    if len(bench) < 100 or rows[-1][0] < float(bench[-1]["time_s"]):
        until = f"{len(bench)} rows, ngspice up to {rows[-1][0]} s"
        sys.exit(f"{name}: a transient is too short: {until}")
    position, seen = 0, []
    for row in bench:
        position, values = at(rows, float(row["time_s"]), position)
        seen.append(values)
    failed = False
    for index, (column, _) in enumerate(case["compared"]):
        ours = [float(row[column]) for row in bench]
        theirs = [values[index] for values in seen]
        span = max(theirs) - min(theirs)
        off = (abs(one - other) for one, other in zip(ours, theirs))
        worst, when = max(zip(off, (row["time_s"] for row in bench)))
        within = worst <= TOLERANCE * span
        failed |= not within
        told = "" if within else "  NOT WITHIN 0.1 %"
        share = f"{100 * worst / span:.4f} % of {span:.4g}"
        print(f"{name:15} {column:14} off by {share} at {float(when):.6g} s{told}")
    return failed


def main():
    trajectory, out = sys.argv[1], Path(sys.argv[2])
    cases = [constant_power, inrush, charger, converter]
    if any([compare(case.__name__, case(), trajectory, out / case.__name__) for case in cases]):
        sys.exit("the bench's rails differ from ngspice's")


main()
