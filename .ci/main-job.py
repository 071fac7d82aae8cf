#!/usr/bin/env python3
"""Checks three runs of the skiff in a directory: 1.json and 2.json of one seed with their readings,
other.json of another seed."""
import csv
import json
import sys
from pathlib import Path

out = Path(sys.argv[1])
runs = ((out / f"{name}.json").read_text(encoding="utf-8") for name in ("1", "2", "other"))
first, second, other = map(json.loads, runs)


def without_wall(value):
    if isinstance(value, dict):
        kept = (pair for pair in value.items() if not pair[0].startswith("wall"))
        return {key: without_wall(item) for key, item in kept}
    return [without_wall(item) for item in value] if isinstance(value, list) else value


assert without_wall(first) == without_wall(second), "one seed, two reports"
assert any(key.startswith("wall") for key in first), "no wall time"
readings = (out / "1" / "readings.csv").read_bytes()
assert readings == (out / "2" / "readings.csv").read_bytes(), "one seed, two files of readings"
names = sorted(path.name for path in (out / "1").iterdir())
reports = ["report.html", "report.json", "report.txt"]
wanted = ["alerts.csv", "faults.csv", "readings.csv", *reports, "trace.vcd", "transactions.jsonl"]
assert names == wanted, f"written: {names}"

# US06 drive cycle, straight between the recorded points (tests/data/README.md: 505.116 C a pass),
# six passes.
rows = csv.reader(open("tests/data/us06_current.csv", encoding="utf-8"))
points = [(float(row[0]), float(row[1])) for row in rows if row and not row[0].startswith("#")]
drive = 6 * sum((t1 - t0) * (i0 + i1) / 2 for (t0, i0), (t1, i1) in zip(points, points[1:]))
assert abs(drive / (6 * 505.116) - 1) < 1e-6, drive

for report in (first, other):
    assert [rail["name"] for rail in report["rails"]] == ["DRIVE", "CELL", "LOGIC", "MODEM"]
    for rail in report["rails"]:
        for key in ("energy_j", "charge_c"):
            figure = rail[key]
            off, bound = abs(figure["measured"] - figure["truth"]), figure["bound"]
            assert off <= bound, f"{rail['name']} {key}: {off} off, bound {bound}"
            assert abs(sum(figure["bound_parts"].values()) / bound - 1) < 0.1
        assert abs(rail["energy_j"]["by_part_clock"] / rail["energy_j"]["measured"] - 1) < 0.016
    truth = report["rails"][0]["charge_c"]["truth"]
    assert abs(truth / drive - 1) < 1e-6, f"DRIVE carried {truth} C, its recording {drive} C"
    assert report["conversions"] > 0.98 * 3600 * 2000 * 8
    assert report["bus"]["transactions"] >= 2 * report["samples"] and report["bus"]["busy_s"] > 0
    assert report["monitor"]["energy_j"] > 0
    # Three pulses in each of 514 trains (examples/survey-skiff.toml), each told once.
    events = [(alert["rail"], alert["kind"]) for alert in report["alerts"]]
    modem = events.count(("MODEM", "over_current"))
    assert modem == 3 * 514, f"MODEM: {modem} events"

assert first["seed"] != other["seed"]
assert first["rails"][0]["charge_c"]["measured"] != other["rails"][0]["charge_c"]["measured"]
last = {row["rail"]: row for row in csv.DictReader(readings.decode().splitlines())}
for rail in first["rails"]:
    for column in ("energy_j", "charge_c"):
        assert float(last[rail["name"]][column]) == rail[column]["measured"], (rail["name"], column)
print("main job: two runs of one seed agree, and with another seed, too, totals are within bounds")
