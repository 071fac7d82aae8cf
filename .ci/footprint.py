"""Figures of two cores beside their budgets: held against docs/footprint.md, or written there with --refresh."""
import sys

BEGIN, END = "<!-- figures: written by .ci/on-target --refresh -->", "<!-- end of figures -->"
KIB = 1024

# what, unit, figure, budgets of M3 and M0 (None: none was set). A figure is a name, or a function of all figures.
FLASH = lambda program: lambda f: f[f"flash.{program}"] - f["flash.empty"]
ROWS = [
    ("flash, set-up, frame and readings alone", "B", FLASH("readings"), (None, None)),
    ("flash, the same and a ledger of totals alone", "B", FLASH("totals"), (int(2.2 * KIB), int(2.4 * KIB))),
    ("flash, minimal use (set-up, frame, readings, ledger and its totals with bounds)", "B", FLASH("minimal"), (int(2.2 * KIB), int(2.4 * KIB))),
    ("flash, everything blocking incl. alerts, burst, event queue, proof test", "B", FLASH("everything"), (int(6.5 * KIB), 7 * KIB)),
    ("flash, async on top of the same program with the blocking monitor", "B", lambda f: f["flash.asynchronous"] - f["flash.everything"], (KIB, KIB)),
    ("of all that, board description (constants)", "B", "size.board", (None, None)),
    ("static RAM of these programs", "B", "ram.everything", (None, None)),
    ("stack, frame", "B", "stack.frame", (160, 220)),
    ("stack, frame, async", "B", "stack.frame_async", (160, 220)),
    ("stack, frame and its ledger update, async", "B", "stack.frame_and_ledger_update_async", (256, 320)),
    ("stack, readings of four channels", "B", "stack.readings_of_four", (256, 320)),
    ("stack, init", "B", "stack.init", (256, 320)),
    ("stack, configure", "B", "stack.configure", (256, 320)),
    ("stack, fetch of a burst", "B", "stack.fetch", (256, 320)),
    ("stack, arm (station)", "B", "stack.arm", (256, 320)),
    ("stack, arm (station), async", "B", "stack.arm_async", (256, 320)),
    ("stack, service (station)", "B", "stack.service", (256, 320)),
    ("stack, service (station), async", "B", "stack.service_async", (256, 320)),
    ("stack, a look alone (station)", "B", "stack.look", (256, 320)),
    ("stack, proof test", "B", "stack.prove", (256, 320)),
    ("stack, ledger update", "B", "stack.ledger_update", (256, 320)),
    ("stack, ledger update that closes a segment", "B", "stack.ledger_turn", (256, 320)),
    ("stack, the same of totals alone", "B", "stack.totals_turn", (256, 320)),
    ("stack, total without bounds", "B", "stack.total", (256, 320)),
    ("stack, account with bounds", "B", "stack.account", (256, 320)),
    ("of each of these, the stand-in for the bus", "B", "stack.bus_stand_in", (None, None)),
    ("RAM, four-channel monitor", "B", "size.monitor", (280, 280)),
    ("RAM, ledger", "B", "size.ledger", (240, 240)),
    ("RAM, ledger of totals alone", "B", "size.ledger_of_totals", (240, 240)),
    ("RAM, station with a queue of eight events", "B", "size.station_8_events", (None, None)),
    ("`size_of` event", "B", "size.event", (None, None)),
    ("`size_of` frame", "B", "size.frame", (None, None)),
    ("`size_of` reading", "B", "size.reading", (None, None)),
    ("`size_of` account", "B", "size.account", (None, None)),
    ("`size_of` set-up", "B", "size.setup", (None, None)),
    ("`size_of` rail", "B", "size.rail", (None, None)),
    ("`size_of` error, without the bus's own", "B", "size.error", (None, None)),
    ("`size_of` future of a latch", "B", "size.future_of_latch", (None, None)),
    ("`size_of` future of a station's service", "B", "size.future_of_service", (None, None)),
    ("bytes of a frame to voltage, current and power of four channels", "instr.", "instructions.readings_of_four", (750, 1900)),
    ("baseline: two products and their power of four channels in `f32`", "instr.", "instructions.readings_of_four_in_f32", (None, None)),
    ("whole frame incl. check byte and block check, no conversion, bus time off", "instr.", "instructions.frame", (2900, 4200)),
    ("the same, async", "instr.", "instructions.frame_async", (2900, 4200)),
    ("baseline: the same values, one register at a time, check bytes alone", "instr.", "instructions.one_register_at_a_time", (None, None)),
    ("ledger update, four channels", "instr.", "instructions.ledger_update", (270, 420)),
    ("ledger update, four channels, async", "instr.", "instructions.ledger_update_async", (270, 420)),
    ("total of one rail, without bounds", "instr.", "instructions.total", (None, None)),
    ("account of one rail, with bounds", "instr.", "instructions.account", (None, None)),
    ("alert service that finds one cause, with frame and event", "instr.", "instructions.service", (None, None)),
    ("alert service that finds one cause, async", "instr.", "instructions.service_async", (None, None)),
    ("a look alone that finds one cause", "instr.", "instructions.look", (None, None)),
    ("one conversion to a current", "instr.", "instructions.conversion", (None, None)),
    ("baseline: one conversion in `f32`, shipped core library", "instr.", "instructions.conversion_in_f32", (None, None)),
    ("bus transactions of a coherent four-channel frame", "", "bus.frame_transfers", (2, 2)),
    ("baseline: one register at a time, not coherent", "", "bus.one_register_at_a_time_transfers", (None, None)),
]
# The more the better: what, figure, budgets.
RATIOS = [
    ("conversion: `f32` ÷ driver", lambda f: f["instructions.conversion_in_f32"] / f["instructions.conversion"], (6.0, 3.5)),
    ("bus: data bits handed to the decoder ÷ all bits of the frame", lambda f: f["bus.frame_data_permille"] / 1000, (0.80, None)),
    ("baseline: one register at a time", lambda f: f["bus.one_register_at_a_time_data_permille"] / 1000, (None, None)),
]


def figures(path):
    with open(path, encoding="utf-8") as lines:
        pairs = (line.split(" = ") for line in lines if " = " in line)
        return {name: int(value) for name, value in pairs}


def cell(value):
    return "" if value is None else f"{value:.2f}" if isinstance(value, float) else f"{value:,}".replace(",", " ")


def table(cores):
    lines = [BEGIN, "", "| what | unit | M3 | budget | M0 | budget |", "|---|---|---:|---:|---:|---:|"]
    missed = []

    def row(what, unit, values, budgets, better):
        cells = [c for value, budget in zip(values, budgets) for c in (cell(value), cell(budget))]
        lines.append(f"| {what} | {unit} | " + " | ".join(cells) + " |")
        for core, value, budget in zip(("M3", "M0"), values, budgets):
            if budget is not None and not better(value, budget):
                missed.append(f"- {what}, {core}: {cell(value)} of {cell(budget)} {unit}".rstrip() + f" ({value / budget:.2f} ×)")

    for what, unit, figure, budgets in ROWS:
        get = figure if callable(figure) else lambda f, name=figure: f[name]
        row(what, unit, [get(core) for core in cores], budgets, lambda value, budget: value <= budget)
    for what, get, budgets in RATIOS:
        row(what, "×", [round(get(core), 2) for core in cores], budgets, lambda value, budget: value >= budget)
    lines += ["", "Not met:" if missed else "All budgets are met.", ""] + missed + ["", END]
    return lines


def values(lines):
    """The measured cells by what they are of."""
    found = {}
    for line in lines:
        cells = [c.strip() for c in line.strip().strip("|").split("|")]
        if line.startswith("| ") and len(cells) == 6 and cells[0] != "what":
            found[cells[0]] = [float(c.replace(" ", "")) for c in (cells[2], cells[4])]
    return found


def main(m3, m0, document, *options):
    new = table([figures(m3), figures(m0)])
    with open(document, encoding="utf-8") as text:
        old = text.read()
    before, rest = old.split(BEGIN)
    committed, after = rest.split(END)
    if options == ("--refresh",):
        with open(document, "w", encoding="utf-8") as text:
            text.write(before + "\n".join(new) + after)
        print(f"{document} is written")
        return 0
    now, then = values(new), values(committed.splitlines())
    ratios = {what for what, _, _ in RATIOS}
    grown = []
    for what, measured in now.items():
        if what not in then:
            grown.append(f"{what}: not in {document}")
            continue
        for core, value, limit in zip(("M3", "M0"), measured, then[what]):
            worse = value < limit * 0.97 if what in ratios else value > limit * 1.03
            if worse and "baseline" not in what:
                grown.append(f"{what}, {core}: {value:g}, committed {limit:g}")
    print("\n".join(grown) if grown else f"{len(now)} figures within 3 % of {document}")
    return 1 if grown else 0


sys.exit(main(*sys.argv[1:]))
