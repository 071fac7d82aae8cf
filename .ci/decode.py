"""Holds recordings (docs/trace.md) against sigrok's decoder of the two wires and against the reader
vcdvcd.

Usage: decode.py [--odd] DIRECTORY...; --odd: the recording must hold what drivers seldom do. Exit
status 1 on any difference, and if there is nothing to compare.
"""

import json
import subprocess
import sys
from pathlib import Path

from vcdvcd import VCDVCD

CLASSES = "start:repeat-start:stop:ack:nack:address-read:address-write:data-read:data-write"


def expected(transaction):
    """What the decoder should say of a transaction of the log."""
    words = []
    for message in transaction["messages"]:
        words.append({"S": "Start", "Sr": "Start repeat"}[message["start"]])
        if message["address"] is None:
            continue
        kind = "Read" if message["read"] else "Write"
        words += [kind, f"Address {kind.lower()}: {message['address']:02X}"]
        words.append("ACK" if message["acknowledged"] else "NACK")
        for byte, acknowledged in zip(message["bytes"], message["acknowledges"], strict=True):
            words += [f"Data {kind.lower()}: {byte:02X}", "ACK" if acknowledged else "NACK"]
    return words + ["Stop"]


def decoded(path):
    """What the decoder says of each transaction in the dump."""
    # libsigrok 0.5 knows single wires alone and gives up at the first vector.
    wires = "".join(line for line in path.open() if not line.startswith("b"))
    command = ["sigrok-cli", "-I", "vcd:compress=10000", "-i", "-"]
    command += ["-P", "i2c:scl=SCL:sda=SDA", "-A", f"i2c={CLASSES}"]
    said = subprocess.run(command, input=wires, capture_output=True, text=True, check=True).stdout
    transactions = []
    for line in said.splitlines():
        word = line.split(": ", 1)[1]
        if word == "Start" or not transactions:
            transactions.append([])
        transactions[-1].append(word)
    return transactions


def conditions(dump):
    """Moments of START without STOP before it, and of STOP, as another reader sees the wires; and
    rising edges of SCL between them."""
    levels = {"SCL": None, "SDA": None}
    changes = [(at, line, v) for line in levels for at, v in dump[f"bench.{line}"].tv]
    found, clocks, busy = [], 0, False
    for at, line, level in sorted(changes, key=lambda change: change[0]):
        before, levels[line] = levels[line], level
        if line == "SDA" and before is not None and levels["SCL"] == "1":
            if level == "0" and not busy:
                start, clocks, busy = at, 0, True
            elif level == "1":
                found.append((start, at, clocks))
                busy = False
        clocks += line == "SCL" and level == "1"
    return found


def form(path, dump):
    """Rules of a good dump, read from its text: times rise, everything has a value at the start,
    and no value is repeated."""
    last_time, values, at_start = -1, {}, None
    body = path.read_text().split("$enddefinitions $end\n")[1]
    for line in body.splitlines():
        if line.startswith("#"):
            assert int(line[1:]) > last_time, f"time goes back at {line}"
            last_time = int(line[1:])
        elif line == "$end":
            at_start = len(values)
        elif line != "$dumpvars":
            value, signal = line.split(" ") if line[0] in "br" else (line[0], line[1:])
            assert values.get(signal) != value, f"{line} repeats a value at #{last_time}"
            values[signal] = value
    signals = len(dump.signals)
    assert at_start == len(values) == signals, f"{at_start} of {signals} have a value at the start"


def broken_off(transaction):
    return any(message["broken_off"] for message in transaction["messages"])


def compare(directory):
    path = directory / "trace.vcd"
    log = [json.loads(line) for line in (directory / "transactions.jsonl").open()]
    said = decoded(path)
    wrong = 0
    for i in range(max(len(log), len(said))):
        ours = expected(log[i]) if i < len(log) else None
        theirs = said[i] if i < len(said) else None
        if ours != theirs:
            wrong += 1
            print(f"{directory.name}: transfer {i}\n  log     {ours}\n  decoded {theirs}")

    dump = VCDVCD(str(path))
    form(path, dump)
    begin = dump.begintime
    seen = conditions(dump)
    for i in range(max(len(log), len(seen))):
        # A START at the dump's first moment is drawn a nanosecond late.
        ours = (max(log[i]["start_ns"], begin + 1), log[i]["stop_ns"]) if i < len(log) else None
        theirs = seen[i] if i < len(seen) else None
        if ours is None or theirs is None or ours != theirs[:2]:
            wrong += 1
            print(f"{directory.name}: transfer {i} in the log {ours}, on the wires {theirs}")
        elif not broken_off(log[i]):
            # Nine clocks a byte, and one each for a repeated START and for STOP.
            messages = log[i]["messages"]
            whole = [m for m in messages if m["address"] is not None]
            count = sum(9 * (1 + len(m["bytes"])) for m in whole) + len(messages)
            if count != theirs[2]:
                wrong += 1
                print(f"{directory.name}: transfer {i} has {theirs[2]} clocks instead of {count}")
    words = sum(map(len, said))
    print(f"{directory.name}: {len(log)} transfers in the log, {len(said)} decoded ({words} "
          f"annotations), {wrong} differences")
    return log, wrong


def odd(log):
    """How often a recording holds what drivers seldom do."""
    messages = [m for t in log for m in t["messages"]]
    writes = [m for m in messages if m["read"] is False]
    return {
        "address not acknowledged": sum(m["acknowledged"] is False for m in messages),
        "byte of a write not acknowledged": sum(False in m["acknowledges"] for m in writes),
        "repeated START": sum(m["start"] == "Sr" for m in messages),
        "alert response": sum(m["address"] == 0x0C and m["acknowledged"] for m in messages),
        "byte broken off": sum(m["broken_off"] for m in messages),
    }


def main(arguments):
    must_be_odd = arguments[:1] == ["--odd"]
    directories = arguments[must_be_odd:]
    failed = not directories
    for directory in map(Path, directories):
        log, wrong = compare(directory)
        failed |= wrong > 0 or not log
        if must_be_odd:
            counts = odd(log)
            print("  " + ", ".join(f"{what}: {count}" for what, count in counts.items()))
            failed |= 0 in counts.values()
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
