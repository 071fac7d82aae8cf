"""What the worked examples of every datasheet have in common. Nothing here comes from the code of
this project."""


def hexes(data):
    return " ".join(f"{b:02X}" for b in data)


def nano(value):
    """A value in base units as a whole number of its billionths."""
    scaled = value * 10**9
    assert scaled.denominator == 1, scaled
    return int(scaled)


def transfers(examples):
    """The lines of a table of transfers."""
    yield "| # | what | bytes | values |"
    yield "|---|---|---|---|"
    for number, (what, transfer, values) in enumerate(examples, 1):
        yield f"| {number} | {what} | `{transfer}` | {values} |"
