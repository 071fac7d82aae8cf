"""Runs the skiff's rails with many seeds and judges every total with nothing of this project.

Alerts are left out of the scenario: they do not change what flows, and take half of the time.
"""
import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

PROGRAM, SCENARIO = "target/release/crake-sim", "examples/survey-skiff.toml"
# The largest shares of the bounds that a thousand boards must use: a bound that none comes near
# would be of no use.
LEAST_USED = 0.3


def without_alerts(text):
    """The scenario without its tables of alerts, its files found from anywhere."""
    lines, kept = [], True
    for line in text.splitlines():
        if line.startswith("["):
            kept = line.strip() != "[[rail.alert]]"
        if kept:
            lines.append(line.replace('"../tests/', f'"{os.getcwd()}/tests/'))
    return "\n".join(lines)


def totals(scenario, seed, seconds):
    """Name, distance from the truth and bound of each total."""
    command = [PROGRAM, "run", scenario, "--json", "--seed", str(seed), "--for", str(seconds)]
    # The status says what the program itself thinks of it: it is judged here.
    report = json.loads(subprocess.run(command, stdout=subprocess.PIPE, check=False).stdout)
    figures = [
        (f"{rail['name']} {quantity}", rail[quantity])
        for rail in report["rails"]
        for quantity in ("energy_j", "charge_c")
    ]
    assert len(figures) == 8 and report["discontinuities"] == 0, report
    return [
        (name, abs(figure["measured"] - figure["truth"]), figure["bound"], figure["saturation"])
        for name, figure in figures
    ]


def main(seeds, seconds, first):
    used, failures = {}, []
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(os.cpu_count()) as pool:
        scenario = os.path.join(folder, "skiff.toml")
        with open(SCENARIO, encoding="utf-8") as source, open(scenario, "w", encoding="utf-8") as to:
            to.write(without_alerts(source.read()))
        numbers = range(first, first + seeds)
        for seed, found in zip(numbers, pool.map(lambda n: totals(scenario, n, seconds), numbers)):
            for name, off, bound, saturation in found:
                used[name] = max(used.get(name, 0), off / bound)
                if off > bound or saturation != "none":
                    failures.append(
                        f"seed {seed}, {name}: {off} off, bound {bound}, {saturation}\n"
                        f"  .ci/seeds 1 {seconds} {seed}"
                    )
    for name, most in used.items():
        print(f"{name}: at most {most:.0%} of the bound")
        if seeds >= 1000 and most < LEAST_USED:
            failures.append(f"{name}: none of {seeds} boards comes near the bound")
    print("\n".join(failures) if failures else f"{seeds} seeds of {seconds} s within their bounds")
    return 1 if failures else 0


sys.exit(main(*map(int, sys.argv[1:])))
