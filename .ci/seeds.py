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
# The scenario's own rate, and slower ones: a seed's is the one at its number modulo four.
SCAN_RATES = [2000, 500, 100, 10]
# The largest shares of the bounds that some hundred boards must use: a bound that none comes near
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


def totals(folder, seed, seconds):
    """Name, distance from the truth and bound of each total."""
    scenario = os.path.join(folder, f"{SCAN_RATES[seed % len(SCAN_RATES)]}.toml")
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
        with open(SCENARIO, encoding="utf-8") as source:
            text = without_alerts(source.read())
        for rate in SCAN_RATES:
            with open(os.path.join(folder, f"{rate}.toml"), "w", encoding="utf-8") as to:
                own = f"scan_rate = {SCAN_RATES[0]}"
                assert text.count(own) == 1, own
                to.write(text.replace(own, f"scan_rate = {rate}"))
        numbers = range(first, first + seeds)
        for seed, found in zip(numbers, pool.map(lambda n: totals(folder, n, seconds), numbers)):
            for name, off, bound, saturation in found:
                used[name] = max(used.get(name, 0), off / bound)
                if off > bound or saturation != "none":
                    failures.append(
                        f"seed {seed}, {name}: {off} off, bound {bound}, {saturation}\n"
                        f"  .ci/seeds 1 {seconds} {seed}"
                    )
    for name, most in used.items():
        print(f"{name}: at most {most:.0%} of the bound")
        if seeds >= 200 and most < LEAST_USED:
            failures.append(f"{name}: none of {seeds} boards comes near the bound")
    print("\n".join(failures) if failures else f"{seeds} seeds of {seconds} s within their bounds")
    return 1 if failures else 0


sys.exit(main(*map(int, sys.argv[1:])))
