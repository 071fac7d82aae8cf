"""Statistics of the recordings, and of the same rows at irregular times, by numpy, against what
characterise prints."""

import json
import subprocess
import sys
import tempfile

import numpy as np

PROGRAM = sys.argv[1]
CURRENT, VOLTAGE = "tests/data/us06_current.csv", "tests/data/li_ion_1c_discharge_voltage.tsv"


def told(path, *options):
    columns = ["--column", "time=0", "--column", "current=1"]
    command = [PROGRAM, "characterise", path, "--no-header", "--json", *columns, *options]
    return json.loads(subprocess.run(command, check=True, capture_output=True).stdout)["rails"][0]


def near(what, one, other, relative=1e-9):
    assert abs(one - other) <= relative * max(abs(other), 1e-12), (what, one, other)


def compare(path, time, value, weighed, *options):
    rail = told(path, *options)
    current = rail["current_a"]
    assert rail["readings"] == len(value) and rail["spacing"]["weighed"] == weighed, rail["spacing"]
    steps = np.diff(time)
    by_time = (np.concatenate([[0], steps]) + np.concatenate([steps, [0]])) / 2
    weights = np.ones(len(value)) if weighed == "alike" else by_time
    mean = np.average(value, weights=weights)
    near("mean", current["mean"], mean)
    near("rms", current["rms"], np.sqrt(np.average(value**2, weights=weights)))
    variance = np.average((value - mean) ** 2, weights=weights)
    near("deviation", current["deviation"], np.sqrt(variance))
    near("least", current["least"], value.min())
    near("greatest", current["greatest"], value.max())
    near("least at", current["least_at_s"], time[value.argmin()])
    near("greatest at", current["greatest_at_s"], time[value.argmax()])
    near("net", rail["charge_c"]["net"], np.trapezoid(value, time))
    # Both sides, with a point where the straight line crosses zero.
    cross = np.nonzero(value[:-1] * value[1:] < 0)[0]
    at = time[cross] - value[cross] * steps[cross] / (value[cross + 1] - value[cross])
    times = np.concatenate([time, at])
    values = np.concatenate([value, np.zeros(len(at))])
    order = np.argsort(times, kind="stable")
    times, values = times[order], values[order]
    near("out", rail["charge_c"]["out"], np.trapezoid(np.maximum(values, 0), times))
    near("back", rail["charge_c"]["back"], np.trapezoid(np.maximum(-values, 0), times))
    near("histogram", sum(current["histogram"]), 1)
    # Quantiles by share of the time: the first value at which the sum of weights reaches the share.
    # The sketch knows a value to a thousandth; where two values share the place it may be either.
    order = np.argsort(value)
    reached = np.cumsum(by_time[order]) / by_time.sum()
    for quantile in current["quantiles"]:
        place = np.searchsorted(reached, quantile["share"] - 1e-9)
        wanted = value[order][max(place - 1, 0) : place + 2]
        nearest = wanted[np.abs(wanted - quantile["value"]).argmin()]
        near(quantile["share"], quantile["value"], nearest, 1e-3)
    return len(current["quantiles"])


checked = 0
data = np.loadtxt(CURRENT, delimiter=",")
checked += compare(CURRENT, data[:, 0], data[:, 1], "alike")
other = np.loadtxt(VOLTAGE)
checked += compare(VOLTAGE, other[:, 0], other[:, 1], "alike", "--separator", "tab")
# The same at times that are not even, from a seed; some of it twice as far apart.
generator = np.random.default_rng(20)
for seconds, value in [(data[:, 0], data[:, 1]), (other[:, 0], other[:, 1])]:
    time = np.round(np.cumsum(generator.uniform(0.1, 3, len(value))), 6)
    with tempfile.NamedTemporaryFile("w", suffix=".csv") as file:
        file.writelines(f"{t:.6f},{v!r}\n" for t, v in zip(time.tolist(), value.tolist()))
        file.flush()
        checked += compare(file.name, time, value, "by time")
assert checked == 36, checked
print(f"4 logs: statistics agree with numpy {np.__version__} to 1e-9, {checked} quantiles to 1e-3")
