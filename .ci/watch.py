"""Looks at `run --watch` in a terminal of its own: PROGRAM, DIR for a run that is interrupted.

Rails with the share of each bound, alerts; NO_COLOR; and after an interrupt a terminal as it was."""
import fcntl
import os
import pty
import re
import struct
import sys
import termios

PROGRAM, OUT = sys.argv[1:]
SKIFF = [PROGRAM, "run", "examples/survey-skiff.toml", "--watch"]


def run(arguments, environment, interrupt):
    """What the terminal was told, the exit status, and whether the terminal is as it was."""
    child, terminal = pty.fork()
    if child == 0:
        os.execve(arguments[0], arguments, {**os.environ, "TERM": "xterm-256color", **environment})
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    before, told = termios.tcgetattr(terminal), b""
    while True:
        try:
            told += os.read(terminal, 65536)
        except OSError:  # the program has let go of it
            break
        if interrupt and b" to go" in told:
            interrupt = False
            os.write(terminal, b"\x03")
    _, status = os.waitpid(child, 0)
    after = termios.tcgetattr(terminal)
    return told.decode(), os.waitstatus_to_exitcode(status), before == after


def plain(told):
    return re.sub(r"\x1b\[[\d;?]*[A-Za-z]", "", told)


told, status, _ = run(SKIFF + ["--for", "900"], {"NO_COLOR": ""}, False)
assert status == 0, status
assert "\x1b[1;31mMODEM" in told, "an alert that has just come is marked"
assert "?25l" not in told and "?1049" not in told, "neither the cursor nor the screen is taken away"
seen = plain(told)
for rail in ("DRIVE", "CELL", "LOGIC", "MODEM"):
    assert re.search(rf"{rail} +[\d.]+ V +-?[\d.]+ [mµ]?A +-?[\d.]+ [mµ]?W +-?[\d.]+ [mµ]?Ah +\d+ % +-?[\d.]+ [mµ]?Wh +\d+ %", seen), rail
assert re.search(r"MODEM +over-current +[1-9]\d* +[\d.]+ s", seen), "alerts are counted"
assert seen.rindex("verdict    holds") > seen.rindex(" to go"), "the tables come last"

told, status, _ = run(SKIFF + ["--for", "300"], {"NO_COLOR": "1"}, False)
assert status == 0 and "MODEM" in told and not re.search(r"\x1b\[[\d;]*m", told), "NO_COLOR is kept to"

told, status, is_whole = run(SKIFF + ["--out", f"{OUT}/interrupted"], {}, True)
assert status == 130, status
assert is_whole and told.endswith("\r\n"), repr(told[-80:])
assert not os.path.exists(f"{OUT}/interrupted"), "nothing stays behind"
print("watch: rails, alerts, shares; NO_COLOR; an interrupt leaves terminal and directory whole")
