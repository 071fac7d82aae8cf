"""Looks at pages as a person's browser does: DIR of the skiff's run, DIR of the hostile one, DIR of
the run whose first chart the README shows, and that chart, which `--refresh` writes anew. The
directories of the first two hold what `characterise` makes of the runs' readings, too.
`--shots DIR` also takes pictures."""

import itertools
import json
import math
import re
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

WIDTHS = {"desktop": (1280, 900), "phone": (390, 844), "chart": (720, 900)}
PREFIXES = {"G": 1e9, "M": 1e6, "k": 1e3, "": 1, "m": 1e-3, "µ": 1e-6, "n": 1e-9}
DRIFT = 1e-6  # of times and values: the page keeps eight digits
READINGS = {"Voltage": "voltage_v", "Current": "current_a", "Power": "power_w"}
TOTALS = {"Charge": "charge_c", "Energy": "energy_j"}


def near(one, other, share=DRIFT):
    return math.isclose(one, other, rel_tol=share, abs_tol=1e-12)


class Look:
    """A page that is open, and what must not happen meanwhile."""

    def __init__(self, browser, directory, width, scheme, name="report"):
        self.directory, self.scheme, self.width = directory, scheme, WIDTHS[width][0]
        self.link = {"report": "run", "characterise": "log"}[name]
        size = dict(zip(("width", "height"), WIDTHS[width]))
        self.context = browser.new_context(viewport=size, color_scheme=scheme, offline=True)
        self.page = self.context.new_page()
        self.told, self.asked = [], []
        self.page.on("console", lambda message: self.told.append(message.text))
        self.page.on("pageerror", lambda error: self.told.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.address = (directory / f"{name}.html").resolve().as_uri()
        self.page.goto(self.address)
        self.report = json.loads((directory / f"{name}.json").read_text())
        self.figures = self.page.locator("figure.chart").all()

    def rails(self):
        """The figures over the whole time, with the rails that they are of."""
        pairs = list(zip(self.linked(), self.report["rails"], strict=True))
        assert pairs
        return pairs

    def linked(self):
        return self.figures_of(self.link)

    def figures_of(self, link):
        return [one for one in self.figures if self.data(one)["link"] == link]

    def data(self, figure):
        return json.loads(figure.locator("script").text_content())

    def drawn(self, figure):
        figure.scroll_into_view_if_needed()
        figure.locator("svg .panel").first.wait_for()
        return figure

    def view(self, figure):
        """What it shows, once it has come into sight and is drawn."""
        figure = self.drawn(figure)
        frames = """() => new Promise(done => {
            let n = 4;
            const next = () => (n-- ? requestAnimationFrame(next) : done());
            next();
        })"""
        self.page.evaluate(frames)
        return [float(figure.get_attribute(f"data-{end}")) for end in ("from", "to")]

    def close(self):
        assert self.told == [], self.told
        assert self.asked == [self.address], self.asked
        self.context.close()


def scale(panel):
    """From a height on the screen to a value, by what the axis says."""
    title = panel.locator(".title").evaluate("it => it.firstChild.textContent")
    name, prefix = re.fullmatch(r"(\w+) in ([GMkmµn]?)[VAWCJ]", title).groups()
    labels = panel.locator("text[text-anchor=end]:not(.title)").evaluate_all(
        """all => all.filter(it => it.getAttribute('x') < 64)
            .map(it => [+it.getAttribute('y') - 4, +it.textContent])"""
    )
    (low_y, low), (high_y, high) = labels[0], labels[-1]
    assert low_y != high_y, title
    size = PREFIXES[prefix]
    return name, lambda y: (low + (y - low_y) / (high_y - low_y) * (high - low)) * size


def readings_are_there(data, rail):
    """The charts' data by name, with the least and the greatest reading in it."""
    by_name = {panel["name"]: panel for panel in data["panels"]}
    for name, key in READINGS.items():
        if rail[key] is None:
            assert name not in by_name, name
            continue
        values = by_name[name]["curves"][0]["v"]
        least, greatest = rail[key]["least"], rail[key]["greatest"]
        assert near(min(values), least) and near(max(values), greatest), (name, key)
    return by_name


def peaks_are_drawn(look, figure, rail):
    """Each panel by its name, whose line reaches from the least to the greatest reading."""
    panels = look.drawn(figure).locator("svg .panel").all()
    assert len(panels) == len(look.data(figure)["panels"])
    for panel in panels:
        name, value = scale(panel)
        path = panel.locator("path.curve").get_attribute("d")
        heights = [float(y) for y in re.findall(r"[,V](-?[\d.]+)", path)]
        assert len(heights) > 1, (rail["name"], name)
        if name in READINGS:
            spread = rail[READINGS[name]]
            pixel = abs(value(1) - value(0))
            for height, reading in (
                (max(heights), spread["least"]),
                (min(heights), spread["greatest"]),
            ):
                assert abs(value(height) - reading) <= pixel, (
                    rail["name"],
                    name,
                    value(height),
                    reading,
                )
        yield name, panel


def charts_show_the_data(look):
    """The data in the page is the report's, and what is drawn of it has its peaks."""
    drawn = 0
    for figure, rail in look.rails():
        data = look.data(figure)
        assert data["caption"] == f"{rail['name']}: readings and totals", data["caption"]
        by_name = readings_are_there(data, rail)
        for name, key in TOTALS.items():
            curve = by_name[name]["curves"][0]
            assert near(curve["v"][-1], rail[key]["measured"]), (rail["name"], name)
            bound = rail[key]["bound"] if rail[key]["saturation"] == "none" else None
            assert (bound is None and curve["b"][-1] is None) or near(
                curve["b"][-1], bound, 1e-3
            ), (rail["name"], name)
        alerts = [alert for alert in look.report["alerts"] if alert["rail"] == rail["name"]]
        marks = [mark["t"] for panel in data["panels"] for mark in panel["marks"]]
        times = sorted(alert["time_s"] for alert in alerts)
        assert len(marks) == len(times) and all(map(near, sorted(marks), times)), rail["name"]

        for name, panel in peaks_are_drawn(look, figure, rail):
            drawn += 1
            if panel.locator(".mark").count() == 0:
                kinds = {"Voltage": "voltage", "Current": "current", "Power": "power"}
                assert not any(
                    alert["kind"].endswith(kinds.get(name, "nothing")) for alert in alerts
                ), name
    return drawn


def charts_show_the_log(look):
    """The same of a log: its totals are the object's, and the table at the top has all rails."""
    drawn = 0
    rows = look.page.locator("table").first.locator("tbody tr").all()
    names = [
        rail["name"] for rail in json.loads((look.directory / "report.json").read_text())["rails"]
    ]
    for (figure, rail), row in zip(look.rails(), rows, strict=True):
        by_name = readings_are_there(look.data(figure), rail)
        assert set(by_name) == {*READINGS, *TOTALS}, set(by_name)
        for name, key in TOTALS.items():
            assert near(by_name[name]["curves"][0]["v"][-1], rail[key]["net"]), (rail["name"], name)
        drawn += len(list(peaks_are_drawn(look, figure, rail)))
        assert row.locator("th").text_content() == rail["name"] in names
        heads = look.page.locator("table").first.locator("th[scope=col]").all_text_contents()
        told = dict(zip(heads[1:], row.locator("td").all_text_contents()))
        for name, mean in (
            ("voltage", rail["voltage_v"]),
            ("current", rail["current_a"]),
            ("power", rail["power_w"]),
        ):
            assert near(size(told[name]), mean["mean"], 6e-4), (rail["name"], told)
        for name in ("charge", "energy"):
            assert near(size(told[name]) * 3600, rail[TOTALS[name.title()]]["net"], 6e-4), (
                rail["name"],
                told,
            )
    assert (
        look.page.locator("img").count() == 0
        and look.page.locator("script:not([type])").count() == 1
    )
    return drawn


def size(text):
    """A quantity as it is shown, in its unit without prefix."""
    number, prefix = re.fullmatch(r"(-?[\d.]+) ([GMkmµnp]?)(?:V|A|W|Ah|Wh)", text).groups()
    return float(number) * {**PREFIXES, "p": 1e-12}[prefix]


def bands_end_where_nothing_is_claimed(look):
    """The second rail is over range for three seconds: its band is in two pieces."""
    figure = look.drawn(look.linked()[1])
    band = figure.locator("svg .panel").first.locator("path.band").get_attribute("d")
    assert band.count("M") == 2, band.count("M")
    assert "readings went over range" in look.page.locator("section#rail-1").text_content()


def zoom_is_linked(look):
    first, *rest = look.linked()
    by_itself = look.figures_of("")[:1]
    whole, alone = look.view(first), [look.view(it) for it in by_itself]
    svg = first.locator("svg")

    def all_are(expected):
        for figure in (first, *rest):
            assert all(map(near, look.view(figure), expected)), (look.view(figure), expected)
        assert [look.view(it) for it in by_itself] == alone

    length = whole[1] - whole[0]
    svg.focus()
    svg.press("+")
    all_are([whole[0] + length / 4, whole[1] - length / 4])
    svg.press("ArrowRight")
    all_are([whole[0] + 0.3 * length, whole[1] - 0.2 * length])
    svg.press("0")
    all_are(whole)
    # A button by keys.
    first.get_by_role("button", name="Show a shorter stretch").focus()
    look.page.keyboard.press("Enter")
    all_are([whole[0] + length / 4, whole[1] - length / 4])
    svg.press("Home")
    # Drag over a stretch in the panel's second quarter.
    look.drawn(first)
    box = svg.bounding_box()
    left, right = box["x"] + 64, box["x"] + box["width"] - 12
    at = [left + (right - left) * share for share in (0.25, 0.5)]
    look.page.mouse.move(at[0], box["y"] + 60)
    look.page.mouse.down()
    look.page.mouse.move(at[1], box["y"] + 70)
    look.page.mouse.up()
    seen = look.view(first)
    pixel = length / (right - left)
    assert (
        abs(seen[0] - (whole[0] + length / 4)) < 2 * pixel
        and abs(seen[1] - (whole[0] + length / 2)) < 2 * pixel
    ), seen
    all_are(seen)
    # The wheel with control looks closer still; double-click shows the whole.
    look.drawn(first)
    svg.hover(position={"x": box["width"] / 2, "y": 60})
    look.page.keyboard.down("Control")
    look.page.mouse.wheel(0, -100)
    look.page.keyboard.up("Control")
    closer = look.view(first)
    assert closer[1] - closer[0] < seen[1] - seen[0], closer
    svg.dblclick()
    all_are(whole)


def values_are_told(look):
    figure = look.linked()[0]
    svg, readout = look.drawn(figure).locator("svg"), figure.locator(".readout")
    svg.hover(position={"x": svg.bounding_box()["width"] / 2, "y": 60})
    told = readout.text_content()
    assert re.match(r"At [\d.]+ s: Voltage [\d.]+ m?V ± [\d.]+ m?V, Current ", told), told
    svg.focus()
    svg.press("Escape")
    assert readout.text_content() == ""
    svg.press("n")
    look.view(figure)
    alert = (
        look.report["alerts"][0]["kind"].replace("_", "-")
        if look.directory.name == "hostile"
        else "over-current"
    )
    assert (
        alert in readout.text_content() and "event at" in readout.text_content()
    ), readout.text_content()
    svg.press("0")
    svg.press("Escape")


def words_stand_for_pictures(look):
    for figure in look.figures:
        svg = figure.locator("svg")
        assert svg.get_attribute("role") == "img" and svg.get_attribute("tabindex") == "0"
        label = svg.get_attribute("aria-label")
        assert "least" in label and label in figure.locator("details p").text_content()
        assert all(button.get_attribute("aria-label") for button in figure.locator("button").all())
    for figure in look.linked():
        figure.locator("summary").click()
        assert figure.locator("details tbody tr").count() == 12
        figure.locator("summary").click()
    # The focus is seen wherever the tabulator leads, and it leads to charts.
    page, met = look.page, set()
    page.evaluate("scrollTo(0, 0); document.activeElement.blur()")
    for _ in range(60):
        page.keyboard.press("Tab")
        name, outline = page.evaluate(
            """() => {
                const active = document.activeElement;
                return [active.tagName, getComputedStyle(active).outlineStyle];
            }"""
        )
        if name != "BODY":
            assert outline != "none", name
            met.add(name.upper())
    assert {"A", "SVG", "BUTTON", "SUMMARY"} <= met, met


def it_is_readable(look):
    """Nothing wider than the screen, no text below 11 px, no labels one over the other."""
    page = look.page
    assert page.evaluate("document.documentElement.scrollWidth") <= look.width
    for figure in look.figures:
        look.drawn(figure)
        small = figure.evaluate(
            """figure => [...figure.querySelectorAll('svg text')].filter(text =>
            parseFloat(getComputedStyle(text).fontSize) * text.getCTM().a < 11)
            .map(text => text.textContent)"""
        )
        assert small == [], small
        over = figure.evaluate("""figure => {
            const all = [...figure.querySelectorAll('svg text:not(.limit-name)')]
                .map(text => [text.getBoundingClientRect(), text.textContent]);
            const meet = (a, b) => a.left < b.right && b.left < a.right
                && a.top + 2 < b.bottom && b.top + 2 < a.bottom;
            return all.flatMap(([a, one], n) => all.slice(n + 1)
                .filter(([b]) => meet(a, b)).map(([, other]) => [one, other]));
        }""")
        assert over == [], over
        out = figure.evaluate(
            """figure => { const box = figure.querySelector('svg').getBoundingClientRect();
            return [...figure.querySelectorAll('svg text')].filter(text => {
                const it = text.getBoundingClientRect();
                return it.left < box.left - 1 || it.right > box.right + 1;
            }).map(text => text.textContent); }"""
        )
        assert out == [], out
    body, chart = (
        page.evaluate(f"getComputedStyle(document.querySelector('{it}')).backgroundColor")
        for it in ("body", "svg")
    )
    assert body == chart, (body, chart)
    light = sum(map(int, re.findall(r"\d+", body)[:3])) > 384
    assert light == (look.scheme == "light"), body
    page.emulate_media(media="print")
    assert not page.locator(".buttons").first.is_visible()
    on_paper = page.evaluate("getComputedStyle(document.querySelector('svg')).backgroundColor")
    assert sum(map(int, re.findall(r"\d+", on_paper)[:3])) > 384, on_paper
    page.emulate_media(media="screen")


def names_are_text(look):
    page = look.page
    assert page.locator("h1").text_content() == look.report["title"] == page.title()
    for rail, heading in zip(look.report["rails"], page.locator("section[id^=rail-] h2").all()):
        assert heading.text_content() == f"{rail['name']} (channel {rail['channel']})"
    assert page.locator("img").count() == 0
    assert page.locator("script:not([type])").count() == 1
    assert "</pre><script>stray()</script>" in page.locator("pre").text_content()


def chart_alone(look):
    """The first figure as a file of its own."""
    return look.drawn(look.figures[0]).evaluate("""figure => {
        const alone = figure.querySelector('svg').cloneNode(true);
        for (const name of ['tabindex', 'aria-describedby', 'style']) alone.removeAttribute(name);
        const [, , width, height] = alone.getAttribute('viewBox').split(' ');
        alone.setAttribute('width', width);
        alone.setAttribute('height', height);
        const style = document.createElementNS('http://www.w3.org/2000/svg', 'style');
        style.textContent = document.querySelector('#chart-style').textContent;
        alone.prepend(style);
        return new XMLSerializer().serializeToString(alone).replaceAll('><', '>\\n<') + '\\n';
    }""")


def main(skiff, hostile, cycle, chart, *options):
    shots = Path(options[options.index("--shots") + 1]) if "--shots" in options else None
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox"]
        )
        for directory in (Path(skiff), Path(hostile)):
            look = Look(browser, directory, "desktop", "light")
            drawn = charts_show_the_data(look)
            zoom_is_linked(look)
            values_are_told(look)
            words_stand_for_pictures(look)
            if directory.name == "hostile":
                names_are_text(look)
                bands_end_where_nothing_is_claimed(look)
            look.close()
            print(
                f"{directory.name}: {len(look.figures)} figures, {drawn} charts of them over the "
                "whole run, hold the report's data"
            )
            look = Look(browser, directory, "desktop", "light", "characterise")
            drawn = charts_show_the_log(look)
            zoom_is_linked(look)
            words_stand_for_pictures(look)
            look.close()
            print(f"{directory.name}: {drawn} charts of its log hold the object's data")
            for name, width, scheme in itertools.product(
                ("report", "characterise"), ("desktop", "phone"), ("light", "dark")
            ):
                look = Look(browser, directory, width, scheme, name)
                it_is_readable(look)
                for n in range(8 if shots else 0):
                    look.page.evaluate(f"scrollTo(0, {n * WIDTHS[width][1]})")
                    look.page.wait_for_timeout(200)
                    look.page.screenshot(
                        path=shots / f"{directory.name}-{name}-{width}-{scheme}-{n}.png"
                    )
                look.close()
        look = Look(browser, Path(cycle), "chart", "light")
        text = chart_alone(look)
        look.close()
        browser.close()
    if "--refresh" in options:
        Path(chart).write_text(text)
    assert (
        Path(chart).read_text() == text
    ), f"{chart} is not the chart of the run: .ci/page --refresh"
    print(f"{chart}: the chart of the run, {len(text)} bytes")


main(*sys.argv[1:])
