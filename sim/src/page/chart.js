// Draws the charts of a page from the data beside them, and lets a person look closer. No network,
// no storage. What it draws is SVG, which takes its colours from the page's style.
"use strict";
(() => {
  const LEFT = 64, RIGHT = 12, TITLE = 22, PLOT = 104, GAP = 8, AXIS = 36;
  const CLOSEST = 1e-6; // the least share of the whole time that is shown
  const PREFIXES = [["G", 1e9], ["M", 1e6], ["k", 1e3], ["", 1], ["m", 1e-3], ["µ", 1e-6],
    ["n", 1e-9]];
  // Units of time with their lengths, and from what length of a stretch on they are taken.
  const LONG = [["d", 86400, 259200], ["h", 3600, 10800]];
  // The same by the moment that is farthest from 0.
  const SHORT = [["s", 1, 2], ["ms", 1e-3, 2e-3], ["µs", 1e-6, 0]];

  const prefix = (size) => PREFIXES.find(([, unit]) => size >= unit) ?? PREFIXES.at(-1);
  const quantity = (value, digits, unit) => {
    if (value === 0) return `0 ${unit}`;
    const [letter, size] = prefix(Math.abs(value) * (1 + 0.5 * 10 ** -digits));
    const whole = Math.max(1, Math.floor(Math.log10(Math.abs(value / size))) + 1);
    return `${(value / size).toFixed(Math.max(0, digits - whole))} ${letter}${unit}`;
  };
  // A step of 1, 2 or 5 of a power of ten, about `count` of them to a span.
  const niceStep = (span, count) => {
    const raw = span / count, power = 10 ** Math.floor(Math.log10(raw));
    return [1, 2, 5, 10].find((times) => times * power >= raw * 0.8) * power;
  };
  const decimals = (step) => Math.min(12, Math.max(0, -Math.floor(Math.log10(step) + 1e-9)));
  const ticks = (from, to, step) => {
    const all = [];
    for (let n = Math.ceil(from / step - 1e-9); n * step <= to + step * 1e-9; n++)
      all.push(n * step);
    return all;
  };
  // The first place in a rising list whose value is not before `at`.
  const place = (list, at) => {
    let low = 0, high = list.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (list[middle] < at) low = middle + 1; else high = middle;
    }
    return low;
  };
  const nearest = (list, at) => {
    const after = place(list, at);
    if (after === 0) return 0;
    const isBefore = after === list.length || at - list[after - 1] < list[after] - at;
    return isBefore ? after - 1 : after;
  };
  const make = (parent, name, attributes, text) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes))
      made.setAttribute(key, typeof value === "number" ? +value.toFixed(1) : value);
    if (text !== undefined) made.textContent = text;
    parent.append(made);
    return made;
  };

  // What is to be drawn of a curve in a stretch of time, by rows of moment, least and greatest
  // value, and how low and high the bounds reach: each point, or where there are more points than
  // columns on the screen, a row for each column.
  const visible = ({t, v, b, sort}, [from, to], columns) => {
    const rows = [], last = t.length - 1;
    if (last < 0 || t[last] < from || t[0] > to) return {rows, points: 0};
    const add = (at, value, bound) => rows.push({at, least: value, greatest: value,
      low: value - (bound ?? 0), high: value + (bound ?? 0), isBounded: bound != null});
    // Where the line comes into the stretch and leaves it.
    const edge = (at) => {
      const after = place(t, at), before = after - 1;
      if (sort === "dots" || before < 0 || after > last) return;
      const part = (at - t[before]) / (t[after] - t[before]);
      const between = (list) => (list?.[before] == null || list[after] == null ? null
        : list[before] * (1 - part) + list[after] * part);
      add(at, between(v), between(b));
    };
    edge(from);
    const begin = place(t, from);
    let end = begin, column = NaN;
    while (end <= last && t[end] <= to) end++;
    const points = end - begin, isThin = points <= 2 * columns;
    for (let n = begin; n < end; n++) {
      const bound = b?.[n], own = Math.floor((t[n] - from) / (to - from) * columns);
      if (isThin || own !== column) add(t[n], v[n], bound);
      else {
        const row = rows.at(-1);
        row.least = Math.min(row.least, v[n]);
        row.greatest = Math.max(row.greatest, v[n]);
        row.low = Math.min(row.low, v[n] - (bound ?? 0));
        row.high = Math.max(row.high, v[n] + (bound ?? 0));
        row.isBounded &&= bound != null;
      }
      column = own;
    }
    edge(to);
    return {rows, points};
  };

  // Figures that show the same stretch of time.
  class Link {
    constructor(time) {
      Object.assign(this, {whole: time, view: time, charts: [], cursor: null, isAsked: false});
    }

    show(from, to) {
      const [first, last] = this.whole, whole = last - first;
      const span = Math.min(whole, Math.max(whole * CLOSEST, to - from));
      const begin = Math.min(last - span, Math.max(first, (from + to) / 2 - span / 2));
      this.view = [begin, begin + span];
      this.charts.forEach((chart) => { chart.isStale = true; });
      if (!this.isAsked) requestAnimationFrame(() => this.drawStale());
      this.isAsked = true;
    }

    drawStale() {
      this.isAsked = false;
      this.charts.filter((chart) => chart.isStale && chart.isSeen).forEach((chart) => chart.draw());
    }

    zoom(times, at = null) {
      const [from, to] = this.view;
      const isSeen = at !== null && at >= from && at <= to;
      const centre = isSeen ? at : (from + to) / 2;
      this.show(centre - (centre - from) / times, centre + (to - centre) / times);
    }

    pan(share) {
      const [from, to] = this.view, by = (to - from) * share;
      this.show(from + by, to + by);
    }

    point(at) {
      this.cursor = at;
      this.charts.filter((chart) => chart.isSeen).forEach((chart) => chart.drawCursor());
    }
  }

  class Chart {
    constructor(figure, link, data) {
      Object.assign(this, {figure, link, data, isSeen: false, isStale: true});
      this.pointers = new Map();
      this.times = data.panels[0]?.curves[0]?.t ?? [];
      for (const panel of data.panels)
        for (const curve of panel.curves) curve.t ??= this.times;
      this.marks = data.panels.flatMap((panel) => panel.marks);
      this.marks.sort((one, other) => one.t - other.t);
      this.height = data.panels.length * (TITLE + PLOT + GAP) + AXIS;
      this.buttons();
      this.svg = make(figure, "svg", {role: "img", tabindex: 0, "aria-label": data.summary,
        "aria-describedby": "keys"});
      this.readout = document.createElement("p");
      this.readout.className = "readout";
      this.readout.setAttribute("role", "status");
      figure.querySelector("details").before(this.svg, this.readout);
      this.svg.addEventListener("keydown", (event) => this.key(event));
      this.svg.addEventListener("wheel", (event) => this.wheel(event), {passive: false});
      this.svg.addEventListener("dblclick", () => link.show(...link.whole));
      for (const kind of ["down", "move", "up", "cancel", "leave"])
        this.svg.addEventListener(`pointer${kind}`, (event) => this[kind](event));
    }

    buttons() {
      const {link} = this, bar = document.createElement("div");
      bar.className = "buttons";
      const all = [
        ["−", "Show a longer stretch", () => link.zoom(1 / 2)],
        ["+", "Show a shorter stretch", () => link.zoom(2)],
        ["←", "Earlier", () => link.pan(-0.5)],
        ["→", "Later", () => link.pan(0.5)],
        ["Whole", "Show the whole time", () => link.show(...link.whole)]];
      if (this.marks.length > 3)
        all.push(["Next mark", "Go to the next mark", () => this.toMark(1)]);
      for (const [sign, label, onclick] of all) {
        const button = document.createElement("button");
        Object.assign(button, {type: "button", textContent: sign, title: label, onclick});
        button.setAttribute("aria-label", label);
        bar.append(button);
      }
      this.figure.querySelector("figcaption").after(bar);
    }

    draw() {
      const {svg, link, data, figure} = this, [from, to] = link.view;
      this.isStale = false;
      this.width = Math.max(280, Math.round(figure.clientWidth) || 640);
      this.columns = this.width - LEFT - RIGHT;
      [figure.dataset.from, figure.dataset.to] = link.view;
      svg.replaceChildren();
      svg.style.aspectRatio = "";
      svg.setAttribute("viewBox", `0 0 ${this.width} ${this.height}`);
      const bottom = this.height - AXIS;
      data.spans.forEach(({time}, n) => {
        if (time[1] < from || time[0] > to) return;
        const [x0, x1] = time.map((at) => this.x(Math.min(to, Math.max(from, at))));
        make(svg, "rect", {class: `span of${n % 2}`, x: x0 - 0.5, y: TITLE, width: x1 - x0 + 1,
          height: bottom - TITLE});
      });
      this.scales = data.panels.map((panel, n) => this.panel(panel, n * (TITLE + PLOT + GAP)));
      this.timeAxis(bottom);
      this.overlay = make(svg, "g", {});
      this.drawCursor();
    }

    x(at) {
      const [from, to] = this.link.view;
      return LEFT + (at - from) / (to - from) * this.columns;
    }

    timeAxis(bottom) {
      const {svg} = this, [from, to] = this.link.view, right = this.width - RIGHT;
      const far = Math.max(Math.abs(from), Math.abs(to));
      const [unit, size] = LONG.find(([, , least]) => to - from >= least)
        ?? SHORT.find(([, , least]) => far >= least);
      const step = niceStep((to - from) / size, Math.max(2, this.columns / 90));
      make(svg, "line", {class: "axis", x1: LEFT, x2: right, y1: bottom, y2: bottom});
      for (const at of ticks(from / size, to / size, step)) {
        const x = this.x(at * size);
        make(svg, "line", {class: "axis", x1: x, x2: x, y1: bottom, y2: bottom + 5});
        make(svg, "text", {x, y: bottom + 18, "text-anchor": "middle"},
          at.toFixed(decimals(step)));
      }
      make(svg, "text", {x: right, y: bottom + 32, "text-anchor": "end"}, `time in ${unit}`);
    }

    // Draws one panel; gives its scale, from a value to a height.
    panel(panel, top) {
      const {svg, link, columns} = this, begin = top + TITLE, end = begin + PLOT;
      const right = this.width - RIGHT, group = make(svg, "g", {class: "panel"});
      const curves = panel.curves.map((curve) => visible(curve, link.view, columns));
      const [low, high, off] = this.range(panel, curves);
      const y = (value) => end - (value - low) / (high - low) * PLOT;

      const [letter, size] = prefix(Math.max(Math.abs(low), Math.abs(high)));
      const step = niceStep((high - low) / size, 4);
      for (const value of ticks(low / size, high / size, step)) {
        const at = y(value * size);
        make(group, "line", {class: "grid", x1: LEFT, x2: right, y1: at, y2: at});
        make(group, "text", {x: LEFT - 6, y: at + 4, "text-anchor": "end"},
          value.toFixed(decimals(step)));
      }
      const title = make(group, "text", {class: "title", x: LEFT, y: top + 15},
        `${panel.name} in ${letter}${panel.unit}`);
      if (off.length) make(title, "tspan", {class: "off", dx: 10}, off.join(", "));
      if (panel.curves.length > 1) this.legend(group, panel, top);

      curves.forEach((shown, n) => this.curve(group, panel.curves[n], shown, n, y));
      const names = [];
      for (const {name, at} of panel.limits) {
        if (at < low || at > high) continue;
        const height = y(at);
        make(group, "line", {class: "limit", x1: LEFT, x2: right, y1: height, y2: height});
        // Above its line if there is room, and below if not.
        const places = [height - 4, height + 13].filter(place => place - begin > 12);
        const free = places.find(place => names.every(other => Math.abs(other - place) > 12));
        names.push(free ?? places[0]);
        make(group, "text", {class: "limit-name", x: LEFT + 5, y: names.at(-1)},
          `${name} ${quantity(at, 4, panel.unit)}`);
      }
      let free = LEFT;
      for (const {t} of panel.marks) {
        const x = Math.round(this.x(t));
        if (t < link.view[0] || t > link.view[1] || x < free) continue;
        make(group, "path", {class: "mark", d: `M${x},${begin + 7}l-3,-7h6z`});
        free = x + 7;
      }
      make(group, "line", {class: "axis", x1: LEFT, x2: LEFT, y1: begin, y2: end});
      return y;
    }

    // What a panel reaches from and to, and the limits that lie too far off to be drawn.
    range(panel, curves) {
      let low = Infinity, high = -Infinity;
      for (const row of curves.flatMap(({rows}) => rows)) {
        low = Math.min(low, row.low);
        high = Math.max(high, row.high);
      }
      if (low > high) [low, high] = [0, 0];
      const span = high - low, off = [];
      for (const {name, at} of panel.limits) {
        // That leaves the curve at least a third of the height.
        const isNear = Math.max(high, at) - Math.min(low, at) <= 3 * span;
        if (isNear) [low, high] = [Math.min(low, at), Math.max(high, at)];
        else off.push(`${at > high ? "above" : "below"}: ${name} ${quantity(at, 4, panel.unit)}`);
      }
      const room = (high - low) * 0.06 || Math.abs(high) * 0.01 || 1;
      return [low - room, high + room, off];
    }

    curve(group, {sort, b}, {rows, points}, n, y) {
      if (rows.length === 0) return;
      const xs = rows.map(({at}) => this.x(at).toFixed(1));
      const path = (heights) => heights.map((height, k) => `${xs[k]},${y(height).toFixed(1)}`);
      if (sort !== "dots") {
        // A band that the line hides is none, and there is none where nothing is claimed.
        if (rows.some(({greatest, high}) => y(greatest) - y(high) > 0.6)) {
          const highs = path(rows.map(({high}) => high)), lows = path(rows.map(({low}) => low));
          const pieces = [];
          for (let from = 0, to = 0; from < rows.length; from = to + 1) {
            for (to = from; rows[to]?.isBounded;) to++;
            const lower = lows.slice(from, to).reverse();
            if (to > from) pieces.push(`M${[...highs.slice(from, to), ...lower].join("L")}Z`);
          }
          make(group, "path", {class: `band of${n}`, d: pieces.join("")});
        }
        const ends = path(rows.map(({least}) => least));
        const both = rows.map(({least, greatest}, k) =>
          (least === greatest ? ends[k] : `${ends[k]}V${y(greatest).toFixed(1)}`));
        make(group, "path", {class: `curve of${n}`, d: `M${both.join("L")}`});
      }
      const areSeen = sort === "dots" || (sort === "line" && points < this.columns / 14);
      if (!areSeen) return;
      const [from, to] = this.link.view;
      rows.forEach(({at, least, low, high}, k) => {
        if (sort === "line" && (at === from || at === to)) return;
        const x = +xs[k], r = sort === "dots" ? 4 : 2.5;
        make(group, "circle", {class: `dot of${n}`, cx: x, cy: y(least), r});
        if (sort === "dots" && b)
          make(group, "line", {class: `curve of${n}`, x1: x, x2: x, y1: y(low), y2: y(high)});
      });
    }

    legend(group, panel, top) {
      const text = make(group, "text", {x: this.width - RIGHT, y: top + 15, "text-anchor": "end"});
      panel.curves.forEach(({name, sort}, n) => {
        const sign = sort === "dots" ? "● " : "— ";
        make(text, "tspan", {class: `key of${n}`, dx: n ? 10 : 0}, sign);
        make(text, "tspan", {}, name);
      });
    }

    // The moment that is pointed at, with its values.
    drawCursor() {
      const {link, overlay, readout, data, marks} = this, at = link.cursor, [from, to] = link.view;
      if (!overlay) return;
      overlay.replaceChildren();
      readout.textContent = "";
      if (at === null || at < from || at > to) return;
      const x = this.x(at), told = [];
      make(overlay, "line", {class: "cursor", x1: x, x2: x, y1: TITLE, y2: this.height - AXIS});
      data.panels.forEach(({name, unit, curves: [curve]}, n) => {
        if (!curve?.t.length) return;
        const k = nearest(curve.t, at), bound = curve.b?.[k];
        const band = bound == null ? "" : ` ± ${quantity(bound, 3, unit)}`;
        told.push(`${name} ${quantity(curve.v[k], 6, unit)}${band}`);
        if (curve.t[k] >= from && curve.t[k] <= to) make(overlay, "circle",
          {class: "at", cx: this.x(curve.t[k]), cy: this.scales[n](curve.v[k]), r: 4});
      });
      const near = (to - from) / this.columns * 4;
      const met = marks.filter(({t}) => Math.abs(t - at) <= near);
      const rest = met.length > 3 ? [`${met.length - 3} more marks`] : [];
      const lasting = data.spans.filter(({time}) => time[0] - near <= at && at <= time[1] + near);
      const more = [...met.slice(0, 3), ...lasting].map(({text}) => text);
      const moment = `At ${+at.toPrecision(9)} s: ${told.join(", ")}`;
      readout.textContent = [moment, ...more, ...rest].join("; ");
    }

    toMark(way) {
      const {link, marks} = this, [from, to] = link.view;
      const at = link.cursor ?? (way > 0 ? -Infinity : Infinity);
      const next = way > 0 ? marks.find(({t}) => t > at) : marks.findLast(({t}) => t < at);
      if (!next) return;
      const span = Math.min(to - from, (link.whole[1] - link.whole[0]) / 20);
      link.cursor = next.t;
      link.show(next.t - span / 2, next.t + span / 2);
    }

    toValue(way) {
      const {link, times} = this, [from, to] = link.view;
      if (times.length === 0) return;
      const at = nearest(times, link.cursor ?? (from + to) / 2);
      const step = link.cursor === null ? 0 : way;
      const next = times[Math.min(times.length - 1, Math.max(0, at + step))];
      link.cursor = next;
      if (next < from || next > to) link.show(next - (to - from) / 2, next + (to - from) / 2);
      else link.point(next);
    }

    key(event) {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      const {link} = this, {key, shiftKey} = event;
      const acts = {
        ArrowLeft: () => (shiftKey ? this.toValue(-1) : link.pan(-0.1)),
        ArrowRight: () => (shiftKey ? this.toValue(1) : link.pan(0.1)),
        "+": () => link.zoom(2, link.cursor),
        "=": () => link.zoom(2, link.cursor),
        "-": () => link.zoom(1 / 2, link.cursor),
        0: () => link.show(...link.whole),
        Home: () => link.show(...link.whole),
        n: () => this.toMark(1),
        p: () => this.toMark(-1),
        Escape: () => link.point(null),
      };
      if (!acts[key]) return;
      event.preventDefault();
      acts[key]();
    }

    // The moment under the pointer.
    moment(event) {
      const box = this.svg.getBoundingClientRect(), [from, to] = this.link.view;
      const x = (event.clientX - box.left) / box.width * this.width;
      return from + (x - LEFT) / this.columns * (to - from);
    }

    wheel(event) {
      if (!event.ctrlKey) return; // the page scrolls
      event.preventDefault();
      this.link.zoom(2 ** (-event.deltaY / 200), this.moment(event));
    }

    down(event) {
      if (event.button) return;
      this.svg.setPointerCapture(event.pointerId);
      this.pointers.set(event.pointerId, this.moment(event));
      this.isSelecting = event.pointerType === "mouse" && !event.shiftKey;
    }

    move(event) {
      const {link, pointers} = this, at = this.moment(event), held = pointers.get(event.pointerId);
      if (held === undefined) { link.point(at); return; }
      if (this.isSelecting) { this.select(held, at); return; }
      const [from, to] = link.view;
      const other = [...pointers].find(([id]) => id !== event.pointerId)?.[1];
      if (other === undefined) { link.show(from + held - at, to + held - at); return; }
      // Two fingers: the moments under them stay under them.
      const share = (moment) => (moment - from) / (to - from);
      const span = Math.abs(held - other) / Math.max(0.02, Math.abs(share(at) - share(other)));
      link.show(other - share(other) * span, other + (1 - share(other)) * span);
    }

    select(...ends) {
      this.link.cursor = null;
      this.drawCursor();
      const [x0, x1] = ends.map((at) => this.x(at)).sort((one, other) => one - other);
      make(this.overlay, "rect", {class: "selection", x: x0, y: TITLE, width: x1 - x0,
        height: this.height - AXIS - TITLE});
    }

    up(event) {
      const held = this.pointers.get(event.pointerId), at = this.moment(event);
      this.pointers.delete(event.pointerId);
      if (held === undefined || !this.isSelecting) return;
      this.isSelecting = false;
      if (Math.abs(this.x(at) - this.x(held)) <= 4) this.link.point(at);
      else this.link.show(Math.min(held, at), Math.max(held, at));
    }

    cancel(event) {
      this.pointers.delete(event.pointerId);
    }

    leave() {
      if (this.pointers.size === 0) this.link.point(null);
    }
  }

  const links = new Map(), charts = new Map();
  for (const figure of document.querySelectorAll("figure.chart")) {
    const data = JSON.parse(figure.querySelector("script").textContent), name = data.link || figure;
    if (!links.has(name)) links.set(name, new Link(data.time));
    const link = links.get(name), chart = new Chart(figure, link, data);
    link.charts.push(chart);
    charts.set(figure, chart);
  }
  // What is out of sight is drawn when it comes into sight.
  const sight = new IntersectionObserver((entries) => entries.forEach((entry) => {
    const chart = charts.get(entry.target);
    chart.isSeen = entry.isIntersecting;
    if (chart.isSeen && chart.isStale) chart.draw();
  }), {rootMargin: "300px"});
  charts.forEach((chart, figure) => {
    chart.svg.style.aspectRatio = `640 / ${chart.height}`;
    sight.observe(figure);
  });
  let width = document.body.clientWidth;
  addEventListener("resize", () => {
    if (document.body.clientWidth === width) return;
    width = document.body.clientWidth;
    charts.forEach((chart) => { chart.isStale = true; });
    links.forEach((link) => link.drawStale());
  });
  addEventListener("beforeprint", () => charts.forEach((chart) => chart.draw()));
})();
