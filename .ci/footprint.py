"""Figures of two cores beside their budgets: held against docs/footprint.md, or written there with
--refresh."""

import sys

BEGIN, END = "<!-- figures: written by .ci/on-target --refresh -->", "<!-- end of figures -->"

# what, unit, figure, budgets of M3 and M0 (None: none was set). A figure is a name, or a function
# of all figures.
FLASH = lambda program, less="empty": lambda f: f[f"flash.{program}"] - f[f"flash.{less}"]
ROWS = [
    ("flash: readings", "B", FLASH("readings"), (3200, 3400)),
    ("flash: readings and totals", "B", FLASH("totals"), (5300, 5700)),
    ("flash: readings and totals with bounds", "B", FLASH("bounds"), (6500, 6900)),
    (
        "flash: everything blocking (totals with bounds and checkpoint, alerts, capture, resume, "
        "correction with new margins)",
        "B",
        FLASH("everything"),
        (13000, 14000),
    ),
    ("flash: correction alone, on readings", "B", FLASH("correction", "readings"), (400, 450)),
    ("flash: resume alone, on readings", "B", FLASH("resume", "readings"), (550, 500)),
    ("flash: fast capture alone, on readings", "B", FLASH("capture", "readings"), (950, 800)),
    (
        "flash: async program against the same blocking one",
        "B",
        FLASH("asynchronous", "blocking"),
        (1000, 900),
    ),
    ("flash: readings of a Moorhen alone", "B", FLASH("moorhen_readings"), (3000, 3100)),
    (
        "flash: readings and totals of a Moorhen, whose sums the driver keeps",
        "B",
        FLASH("moorhen_totals"),
        (5200, 5400),
    ),
    (
        "flash: the same with alerts, of which the driver compares two",
        "B",
        FLASH("moorhen_limits"),
        (None, None),
    ),
    (
        "flash: readings of a PMBus device with four pages, declarations included",
        "B",
        FLASH("pmbus_readings"),
        (None, None),
    ),
    ("flash: the same with totals and alerts", "B", FLASH("pmbus_limits"), (None, None)),
    (
        "flash: readings and totals of a Corncrake with four rails and of a Moorhen with two",
        "B",
        FLASH("two_parts"),
        (9700, 10000),
    ),
    ("of these, the board (constants)", "B", "size.board", (None, None)),
    ("of these, the margins (constants)", "B", "size.margins", (None, None)),
    ("static RAM of these programs", "B", "ram.everything", (None, None)),
    ("RAM: totals without bounds, four rails", "B", "size.totals", (None, None)),
    ("RAM: totals with bounds, four rails", "B", "size.totals_with_bounds", (460, 460)),
    ("RAM: monitor of four channels", "B", "size.monitor", (180, 180)),
    (
        "RAM: monitor of a Moorhen, with what the driver makes up",
        "B",
        "size.monitor_of_moorhen",
        (None, None),
    ),
    (
        "RAM: monitor of a PMBus device with four pages, likewise",
        "B",
        "size.monitor_of_pmbus",
        (None, None),
    ),
    ("RAM: event", "B", "size.event", (32, 32)),
    ("RAM: queue of eight events", "B", "size.queue_8_events", (None, None)),
    ("stack: sample", "B", "stack.sample", (290, 330)),
    ("stack: init", "B", "stack.init", (540, 620)),
    ("stack: readings of four", "B", "stack.readings", (540, 620)),
    ("stack: totals update", "B", "stack.update", (540, 620)),
    ("stack: totals update that closes a stretch", "B", "stack.close", (540, 620)),
    ("stack: one total without its bound", "B", "stack.total_without_bound", (540, 620)),
    ("stack: one total with its bound", "B", "stack.total_with_bound", (540, 620)),
    (
        "stack: totals update that closes a stretch, with bounds",
        "B",
        "stack.close_with_bounds",
        (540, 620),
    ),
    ("stack: set limits", "B", "stack.set_limits", (540, 620)),
    ("stack: read alerts", "B", "stack.read_alerts", (540, 620)),
    ("stack: service with one flag", "B", "stack.service", (540, 620)),
    ("stack: sample, async", "B", "stack.sample_async", (410, 450)),
    ("stack: set limits, async", "B", "stack.set_limits_async", (660, 740)),
    ("stack: service with one flag, async", "B", "stack.service_async", (660, 740)),
    ("of each of these, the stand-in for the bus", "B", "stack.bus_stand_in", (None, None)),
    ("`size_of` reading", "B", "size.reading", (None, None)),
    ("`size_of` error, without the bus's own", "B", "size.error", (None, None)),
    ("`size_of` future of a sample", "B", "size.future_of_sample", (None, None)),
    ("`size_of` future of a service", "B", "size.future_of_service", (None, None)),
    ("sample with both check values", "instr.", "instructions.sample", (1550, 2450)),
    (
        "sample with the block's own check value alone",
        "instr.",
        "instructions.sample_block_check_alone",
        (1150, 1750),
    ),
    ("sample with both check values, async", "instr.", "instructions.sample_async", (None, None)),
    (
        "bytes to voltage, current and power of four rails",
        "instr.",
        "instructions.readings",
        (340, 740),
    ),
    ("the same with correction", "instr.", "instructions.readings_corrected", (400, 800)),
    (
        "baseline: two products and their power of four channels in `f32`",
        "instr.",
        "instructions.readings_in_f32",
        (None, None),
    ),
    ("totals update, four rails", "instr.", "instructions.update", (220, 350)),
    ("the same with an offset taken off", "instr.", "instructions.update_offset", (260, 600)),
    ("one total without its bound", "instr.", "instructions.total_without_bound", (None, None)),
    ("one total with its bound", "instr.", "instructions.total_with_bound", (8000, 16500)),
    ("service with one flag", "instr.", "instructions.service", (2200, 3300)),
    ("the same, async", "instr.", "instructions.service_async", (None, None)),
    ("reading alert flags, one of them set", "instr.", "instructions.read_alerts", (None, None)),
    (
        "baseline: a sample's values, one register at a time, check bytes alone",
        "instr.",
        "instructions.one_register_at_a_time",
        (None, None),
    ),
    ("bus transactions of a coherent sample of four channels", "", "bus.sample_transfers", (2, 2)),
    (
        "baseline: one register at a time, not coherent",
        "",
        "bus.one_register_at_a_time_transfers",
        (None, None),
    ),
]
# The more the better: what, figure, budgets.
RATIOS = [
    (
        "bus: data bits handed to the decoder ÷ all bits of a sample",
        lambda f: f["bus.sample_data_permille"] / 1000,
        (0.80, None),
    ),
    (
        "baseline: one register at a time",
        lambda f: f["bus.one_register_at_a_time_data_permille"] / 1000,
        (None, None),
    ),
]


def figures(path):
    with open(path, encoding="utf-8") as lines:
        pairs = (line.split(" = ") for line in lines if " = " in line)
        return {name: int(value) for name, value in pairs}


def cell(value):
    return (
        ""
        if value is None
        else f"{value:.2f}" if isinstance(value, float) else f"{value:,}".replace(",", " ")
    )


def table(cores):
    lines = [
        BEGIN,
        "",
        "| what | unit | M3 | budget | M0 | budget |",
        "|---|---|---:|---:|---:|---:|",
    ]
    missed = []

    def row(what, unit, values, budgets, better):
        cells = [c for value, budget in zip(values, budgets) for c in (cell(value), cell(budget))]
        lines.append(f"| {what} | {unit} | " + " | ".join(cells) + " |")
        for core, value, budget in zip(("M3", "M0"), values, budgets):
            if budget is not None and not better(value, budget):
                missed.append(
                    f"- {what}, {core}: {cell(value)} of {cell(budget)} {unit}".rstrip()
                    + f" ({value / budget:.2f} ×)"
                )

    for what, unit, figure, budgets in ROWS:
        get = figure if callable(figure) else lambda f, name=figure: f[name]
        row(
            what,
            unit,
            [get(core) for core in cores],
            budgets,
            lambda value, budget: value <= budget,
        )
    for what, get, budgets in RATIOS:
        row(
            what,
            "×",
            [round(get(core), 2) for core in cores],
            budgets,
            lambda value, budget: value >= budget,
        )
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
