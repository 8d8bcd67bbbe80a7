"use strict";
// The figure of a spectrum: counts as a step line, the model over it, residuals below.
// Height is compressed as the square root, so that equal height is equal significance; plain and logarithmic to choose.

const PAPER = "#fffefb", INK = "#22303c", SOFT = "#50606b", RUST = "#a8452c", SEA = "#2b6f77", PALE = "#b9c4c9";
const DASHES = [[7, 3], [2, 3], [9, 3, 2, 3], [4, 4], [1, 2], [12, 4]];
const LEAST_WIDTH = 1.5;  // pixels of a step
const GAP = { left: 58, right: 24, top: 22, middle: 14, bottom: 40 };

function draw(figure) {
  const canvas = figure.querySelector("canvas"), told = figure.querySelector("output");
  const data = JSON.parse(document.getElementById(figure.dataset.figure).textContent);
  const n = data.counts.length;
  const unit = data.in_kev ? "keV" : "channel";
  const parts = data.components;
  const pull = (c, m) => (c - m) / Math.sqrt(Math.max(m, 1));
  const drawn = new Map();
  const whole = [Math.max(data.edges[0], 0), data.in_kev ? Math.min(data.edges[n], 3000) : data.edges[n]];
  let view = [...whole], at = -1, axis = "root", shown = true;

  // Channels finer than the screen are drawn together, counts over the width of all, residuals of the sums.
  function together(k) {
    if (!drawn.has(k)) {
      const starts = [];
      for (let i = 0; i < n; i += k) starts.push(i);
      const sum = (row) => starts.map((i) => { let s = 0; for (let j = i; j < Math.min(i + k, n); j++) s += row[j]; return s; });
      const edges = [...starts.map((i) => data.edges[i]), data.edges[n]];
      const rate = (row) => row.map((c, i) => c / (edges[i + 1] - edges[i]));
      const counts = sum(data.counts), model = data.model && sum(data.model);
      drawn.set(k, { edges, counts: rate(counts), model: model && rate(model),
        parts: parts.map((part) => rate(sum(part.counts))), pulls: model && counts.map((c, i) => pull(c, model[i])) });
    }
    return drawn.get(k);
  }

  const floor = Math.min(...data.counts.map((c, i) => c / (data.edges[i + 1] - data.edges[i])).filter((c) => c > 0), 1) / 2;
  const bend = { root: (y) => Math.sqrt(Math.max(y, 0)), plain: (y) => y, log: (y) => Math.log10(Math.max(y, floor)) };
  const binAt = (x) => {
    let low = 0, high = n - 1;
    while (low < high) { const mid = (low + high + 1) >> 1; if (data.edges[mid] <= x) low = mid; else high = mid - 1; }
    return low;
  };

  function paint() {
    const scale = window.devicePixelRatio || 1, w = canvas.clientWidth, h = canvas.clientHeight;
    canvas.width = Math.round(w * scale); canvas.height = Math.round(h * scale);
    const c = canvas.getContext("2d");
    c.scale(scale, scale);
    c.fillStyle = PAPER; c.fillRect(0, 0, w, h);
    c.font = `13px ${getComputedStyle(canvas).fontFamily}`;
    const below = data.model ? Math.round((h - GAP.top - GAP.bottom) * 0.24) : 0;
    const floorY = h - GAP.bottom - (below ? below + GAP.middle : 0);
    const right = w - GAP.right;
    const px = (x) => GAP.left + (x - view[0]) / (view[1] - view[0]) * (right - GAP.left);
    const k = Math.max(1, Math.ceil((binAt(view[1]) - binAt(view[0])) / ((right - GAP.left) / LEAST_WIDTH)));
    const first = Math.floor(binAt(view[0]) / k), last = Math.floor(binAt(view[1]) / k);
    const { edges, counts, model, parts: rates, pulls } = together(k);
    let top = 0;
    for (let i = first; i <= last; i++) top = Math.max(top, counts[i], model ? model[i] : 0);
    const f = bend[axis], low = axis === "log" ? f(floor) : 0, high = f(top || 1) + (f(top || 1) - low) * 0.12;
    const py = (y) => floorY - (f(y) - low) / (high - low) * (floorY - GAP.top);

    c.strokeStyle = PALE; c.fillStyle = INK; c.lineWidth = 0.7; c.textAlign = "right"; c.textBaseline = "middle";
    let lastY = Infinity;
    for (const tick of heights(top, axis, floor)) {
      const y = py(tick);
      if (y > floorY + 1 || y < GAP.top - 2 || lastY - y < 18) continue;
      lastY = y;
      line(c, [[GAP.left, y], [right, y]]);
      c.fillText(short(tick), GAP.left - 6, y);
    }
    c.textAlign = "center"; c.textBaseline = "top";
    for (const tick of ticks(view[0], view[1], Math.max(3, Math.floor(w / 110)))) {
      c.fillText(String(tick), px(tick), h - GAP.bottom + 5);
      line(c, [[px(tick), h - GAP.bottom], [px(tick), h - GAP.bottom + 4]]);
    }
    c.textAlign = "right"; c.textBaseline = "bottom";
    c.fillText(data.in_kev ? "energy, keV" : "channel", right, h - 3);
    c.textAlign = "left"; c.textBaseline = "top";
    c.fillText(`counts per ${unit}, ${{ root: "root", plain: "plain", log: "logarithmic" }[axis]} axis${k > 1 ? `, ${k} channels together` : ""}`, 4, 3);

    c.save();
    c.beginPath(); c.rect(GAP.left, GAP.top - 4, right - GAP.left, floorY - GAP.top + 4); c.clip();
    if (shown) {
      rates.forEach((row, p) => {
        c.strokeStyle = SOFT; c.lineWidth = 1.1; c.setLineDash(DASHES[p % DASHES.length]);
        curve(c, edges, row, first, last, px, py);
      });
      c.setLineDash([]);
    }
    c.strokeStyle = INK; c.lineWidth = 1.1;
    steps(c, edges, counts, first, last, px, py);
    if (model) { c.strokeStyle = RUST; c.lineWidth = 1.7; curve(c, edges, model, first, last, px, py); }
    c.fillStyle = SEA; c.strokeStyle = SEA; c.lineWidth = 1;
    let lastLabel = -1e9;
    for (const [energy, , used] of data.groups) {
      if (energy < view[0] || energy > view[1]) continue;
      const x = px(energy), y = py(counts[Math.floor(binAt(energy) / k)]) - 6;
      c.setLineDash(used ? [] : [2, 3]);
      line(c, [[x, y], [x, y - 10]]);
      c.setLineDash([]);
      if (used && x - lastLabel > 30) {
        c.textAlign = "center"; c.textBaseline = "bottom";
        c.fillText(energy.toFixed(0), x, Math.max(y - 11, GAP.top + 10)); lastLabel = x;
      }
    }
    c.restore();

    if (below) {
      const middle = h - GAP.bottom - below / 2, per = below / 10;
      c.strokeStyle = PALE; c.lineWidth = 0.8; c.fillStyle = INK; c.textAlign = "right"; c.textBaseline = "middle";
      for (const level of [-2, 0, 2]) {
        c.setLineDash(level ? [4, 4] : []);
        line(c, [[GAP.left, middle - level * per], [right, middle - level * per]]);
        c.fillText(String(level).replace("-", "−"), GAP.left - 6, middle - level * per);
      }
      c.setLineDash([]);
      c.strokeStyle = INK; c.lineWidth = 0.9;
      c.save(); c.beginPath(); c.rect(GAP.left, middle - below / 2, right - GAP.left, below); c.clip();
      steps(c, edges, pulls, first, last, px, (y) => middle - Math.max(-5, Math.min(5, y)) * per);
      c.restore();
      c.textAlign = "left"; c.textBaseline = "top";
      c.fillText("residual, σ", GAP.left + 4, middle - below / 2 - 12);
    }
    if (at >= 0) {
      const x = px((data.edges[at] + data.edges[at + 1]) / 2);
      c.strokeStyle = RUST; c.lineWidth = 1; line(c, [[x, GAP.top], [x, h - GAP.bottom]]);
    }
  }

  function say() {
    if (at < 0) return;
    const x = (data.edges[at] + data.edges[at + 1]) / 2, u = (data.u[at] + data.u[at + 1]) / 2;
    const place = data.in_kev ? `${fixed(x, u)} ± ${u.toPrecision(2)} keV` : `channel ${Math.round(x)}`;
    const words = [place, `${Number(data.counts[at].toPrecision(6))} ${data.counts[at] === 1 ? "count" : "counts"}`];
    if (data.model) {
      words.push(`model ${data.model[at].toPrecision(4)}`, `residual ${pull(data.counts[at], data.model[at]).toFixed(1).replace("-", "−")} σ`);
      const most = parts.map((part, k) => [data.components[k].counts[at], part.name]).sort((a, b) => b[0] - a[0])[0];
      if (most && most[0] > 0) words.push(`mostly ${most[1]}`);
    }
    const near = data.groups.map(([e, name]) => [Math.abs(e - x), e, name]).filter(([d, e]) => d < 0.04 * e + 2)
      .sort((a, b) => a[0] - b[0]).slice(0, 3).map(([, e, name]) => named(name, e));
    if (data.groups.length) words.push(near.length ? `near: ${near.join("; ")}` : "no line of the source near");
    told.textContent = words.join(" · ");
  }

  const named = (name, e) => name.includes("keV") ? name : `${name} ${e.toFixed(1)} keV`;
  const move = (to) => { at = Math.max(0, Math.min(n - 1, to)); follow(); say(); paint(); };
  function follow() {
    const x = (data.edges[at] + data.edges[at + 1]) / 2, span = view[1] - view[0];
    if (x < view[0] || x > view[1]) show(x - span / 2, x + span / 2);
  }
  function show(a, b) {
    const least = Math.min(40, whole[1] - whole[0]), span = Math.max(least, Math.min(b - a, whole[1] - whole[0]));
    const start = Math.max(whole[0], Math.min((a + b) / 2 - span / 2, whole[1] - span));
    view = [start, start + span];
  }
  const binOf = (event) => {
    const box = canvas.getBoundingClientRect();
    const share = (event.clientX - box.left - GAP.left) / (box.width - GAP.left - GAP.right);
    return binAt(view[0] + share * (view[1] - view[0]));
  };
  canvas.addEventListener("pointerdown", (event) => move(binOf(event)));
  canvas.addEventListener("pointermove", (event) => { if (event.buttons) move(binOf(event)); });
  canvas.addEventListener("keydown", (event) => {
    const far = event.shiftKey ? 25 : 1, start = at < 0 ? binAt(view[0]) : at;
    const to = { ArrowRight: start + far, ArrowLeft: start - far, Home: binAt(view[0]), End: binAt(view[1]) }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    move(to);
  });
  for (const choice of figure.querySelectorAll("input[name=height]")) {
    choice.addEventListener("change", () => { axis = choice.value; paint(); });
  }
  const box = figure.querySelector("input[name=parts]");
  if (box) box.addEventListener("change", () => { shown = box.checked; paint(); });
  for (const button of figure.querySelectorAll("button[data-span]")) {
    button.addEventListener("click", () => {
      const factor = Number(button.dataset.span);
      if (!factor) view = [...whole];
      else {
        const middle = at < 0 ? (view[0] + view[1]) / 2 : (data.edges[at] + data.edges[at + 1]) / 2;
        const half = (view[1] - view[0]) * factor / 2;
        show(middle - half, middle + half);
      }
      paint();
    });
  }
  const key = figure.querySelector("[data-key]");
  if (key) parts.forEach((part, k) => {
    const item = document.createElement("li");
    item.append(sample(DASHES[k % DASHES.length]), document.createTextNode(" " + part.name));
    key.append(item);
  });
  new ResizeObserver(paint).observe(canvas);
  paint();
}

function sample(dash) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("width", "44"); svg.setAttribute("height", "10"); svg.setAttribute("aria-hidden", "true");
  const stroke = document.createElementNS("http://www.w3.org/2000/svg", "line");
  for (const [name, value] of Object.entries({ x1: 0, x2: 44, y1: 5, y2: 5, stroke: SOFT, "stroke-width": 2,
    "stroke-dasharray": dash.join(" ") })) stroke.setAttribute(name, value);
  svg.append(stroke);
  return svg;
}
function line(c, points) { c.beginPath(); points.forEach(([x, y], i) => i ? c.lineTo(x, y) : c.moveTo(x, y)); c.stroke(); }
function steps(c, edges, row, first, last, px, py) {
  c.beginPath();
  for (let i = first; i <= last; i++) {
    const y = py(row[i]);
    i === first ? c.moveTo(px(edges[i]), y) : c.lineTo(px(edges[i]), y);
    c.lineTo(px(edges[i + 1]), y);
  }
  c.stroke();
}
function curve(c, edges, row, first, last, px, py) {
  c.beginPath();
  for (let i = first; i <= last; i++) {
    const x = px((edges[i] + edges[i + 1]) / 2);
    i === first ? c.moveTo(x, py(row[i])) : c.lineTo(x, py(row[i]));
  }
  c.stroke();
}
function ticks(low, high, about) {
  const rough = (high - low) / about, power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 2.5, 5, 10].map((m) => m * power).find((s) => s >= rough), found = [];
  for (let i = Math.ceil(low / step); i * step <= high; i++) found.push(Number((i * step).toPrecision(8)));
  return found;
}
function heights(top, axis, floor) {
  if (axis === "plain") return ticks(0, top * 1.1, 5);
  const found = [];
  if (axis === "log") for (let p = Math.ceil(Math.log10(floor)); 10 ** p <= top * 2; p++) found.push(10 ** p);
  else for (let k = 0; k <= 5; k++) found.push(k ? Number(((k / 5) ** 2 * top).toPrecision(k < 3 ? 1 : 2)) : 0);
  return found;
}
function short(y) { return y >= 1e5 ? y.toExponential(0) : String(Number(y.toPrecision(3))); }
function fixed(x, u) { return x.toFixed(u > 0 ? Math.max(0, Math.min(3, 1 - Math.floor(Math.log10(u)))) : 1); }

for (const figure of document.querySelectorAll(".figure[data-figure]")) draw(figure);
