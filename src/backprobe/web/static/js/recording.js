// The page of a capture or log: asks the server for what fits on the screen, again at every move.
import { listen } from "./gestures.js";
import { Traces, instant, shown } from "./traces.js";

const root = document.getElementById("recording");
const { key, start, end, interval, other } = root.dataset;
const whole = [Number(start), Number(end)];
const box = document.getElementById("traces");
const values = document.getElementById("cursor-values");
const status = document.getElementById("traces-status");
const WAIT = 40; // ms after a move before the server is asked
let range = [...whole];
let active = "A";
let shift = Number(root.dataset.shift ?? 0);
let asked = 0;
let timer = null;
const traces = new Traces(box);

async function fetched(path, query) {
  const answer = await fetch(`${path}?${new URLSearchParams(query)}`);
  if (!answer.ok) throw new Error(`${answer.status}`);
  return answer.json();
}

async function draw() {
  const number = ++asked;
  box.setAttribute("aria-busy", "true");
  const bins = Math.max(200, Math.min(2000, Math.round(box.clientWidth * Math.min(devicePixelRatio, 2))));
  try {
    const query = { start: range[0], end: range[1], bins };
    const wanted = [fetched(`/api/recordings/${key}/drawing`, query)];
    if (other) wanted.push(fetched(`/api/recordings/${other}/drawing`, { start: range[0] - shift, end: range[1] - shift, bins }));
    const [own, laid] = await Promise.all(wanted);
    if (number !== asked) return; // a later move was quicker
    own.channels.forEach((each, index) => { each.strip = index; });
    if (laid) {
      // Both have one column a pixel over the same stretch: the same instants after the shift.
      laid.channels.forEach((each, index) => own.channels.push({ ...each, strip: Math.min(index, own.channels.length - 1) }));
    }
    traces.show(own);
    status.textContent = "";
    box.dataset.drawn = `${own.start} ${own.end}`;
  } catch {
    status.textContent = "The samples could not be fetched. Is the connection there? Move the picture to try again.";
  }
  if (number === asked && timer === null) box.setAttribute("aria-busy", "false");
}

function later() {
  box.setAttribute("aria-busy", "true");
  clearTimeout(timer);
  timer = setTimeout(() => {
    timer = null;
    draw();
  }, WAIT);
}

const view = {
  range: () => range,
  timeAt: (x) => traces.timeAt(x),
  secondsPerPixel: () => traces.secondsPerPixel(),
  setRange(left, right) {
    const narrowest = 8 * Number(interval);
    const full = whole[1] - whole[0];
    let width = Math.min(Math.max(right - left, narrowest), full);
    let from = Math.min(Math.max(left, whole[0]), whole[1] - width);
    if (width >= full) [from, width] = [whole[0], full];
    range = [from, from + width];
    later();
  },
  zoom(factor, around) {
    const centre = around ?? traces.cursors[active] ?? (range[0] + range[1]) / 2;
    const inside = centre >= range[0] && centre <= range[1] ? centre : (range[0] + range[1]) / 2;
    this.setRange(inside - (inside - range[0]) * factor, inside + (range[1] - inside) * factor);
  },
  whole() { this.setRange(...whole); },
  choose(name) {
    active = name;
    for (const button of document.querySelectorAll("[data-cursor]")) button.setAttribute("aria-pressed", String(button.dataset.cursor === name));
  },
  tap(x) { setCursor(active, traces.timeAt(x)); },
  moveCursor(step) {
    const now = traces.cursors[active] ?? (range[0] + range[1]) / 2;
    setCursor(active, Math.min(Math.max(now + step, whole[0]), whole[1]));
  },
};

function setCursor(name, seconds) {
  if (seconds === null) return;
  traces.setCursor(name, seconds);
  for (const field of document.querySelectorAll(`[data-takes="${name}"]`)) field.value = String(seconds);
  clearTimeout(setCursor.timer);
  setCursor.timer = setTimeout(tellCursors, 60);
}

async function tellCursors() {
  const { A, B } = traces.cursors;
  const instants = [A, B].filter((each) => each !== null);
  if (!instants.length) return;
  try {
    const query = new URLSearchParams(instants.map((each) => ["time", String(each)]));
    const answer = await fetch(`/api/recordings/${key}/samples?${query}`);
    if (!answer.ok) throw new Error();
    const told = await answer.json();
    const at = { A: A === null ? null : told.times[0], B: B === null ? null : told.times[A === null ? 0 : 1] };
    const column = (name, index) => (at[name] === null ? [] : told.channels.map((each) => each.values[index]));
    const first = column("A", 0);
    const second = column("B", A === null ? 0 : 1);
    const rows = [["instant", at.A === null ? "" : instant(at.A, Number(interval) * 100), at.B === null ? "" : instant(at.B, Number(interval) * 100), A === null || B === null ? "" : `${instant(at.B - at.A)}${at.B === at.A ? "" : ` (${shown(1 / Math.abs(at.B - at.A), "Hz")})`}`]];
    told.channels.forEach((each, index) => rows.push([each.name, at.A === null ? "" : shown(first[index], each.unit), at.B === null ? "" : shown(second[index], each.unit), A === null || B === null || first[index] === null || second[index] === null ? "" : shown(second[index] - first[index], each.unit)]));
    values.replaceChildren(...rows.map((row) => {
      const line = document.createElement("tr");
      row.forEach((text, place) => {
        const cell = document.createElement(place ? "td" : "th");
        if (place) cell.className = "number";
        else cell.scope = "row";
        cell.textContent = text;
        line.append(cell);
      });
      return line;
    }));
    values.closest("table").hidden = false;
  } catch {
    status.textContent = "The values at the cursors could not be fetched.";
  }
}

traces.marks = (root.dataset.marks ?? "").split(" ").filter(Boolean).map((each) => each.split(":").map(Number));

// What is found in a long recording comes after its picture.
async function study() {
  const place = document.getElementById("study");
  if (!place?.dataset.later) return;
  const link = place.querySelector("a");
  if (link) link.closest("p").textContent = "Looking at the signals …";
  try {
    const answer = await fetch(place.dataset.later);
    if (!answer.ok) throw new Error();
    // The server's own page, in which everything that people wrote is escaped.
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    place.replaceChildren(...page.getElementById("study").childNodes);
  } catch {
    place.querySelector("p").textContent = "What is found could not be fetched. Load the page again when the connection is there.";
  }
}

box.tabIndex = 0;
listen(box, view);
for (const button of document.querySelectorAll("[data-do]")) {
  button.addEventListener("click", () => {
    const { do: what } = button.dataset;
    if (what === "closer") view.zoom(0.5);
    else if (what === "wider") view.zoom(2);
    else if (what === "whole") view.whole();
    else if (what === "between" && traces.cursors.A !== null && traces.cursors.B !== null) view.setRange(...[traces.cursors.A, traces.cursors.B].sort((a, b) => a - b));
    else if (what === "earlier" || what === "later") {
      shift += (what === "later" ? 1 : -1) * traces.secondsPerPixel() * 4;
      const field = document.getElementById("shift");
      if (field) field.value = String(shift);
      later();
    }
  });
}
for (const button of document.querySelectorAll("[data-cursor]")) button.addEventListener("click", () => view.choose(button.dataset.cursor));
for (const mark of document.querySelectorAll("[data-mark]")) {
  mark.addEventListener("click", () => {
    const [from, until] = mark.dataset.mark.split(" ").map(Number);
    setCursor("A", from);
    if (until > from) setCursor("B", until);
    const width = Math.max((until - from) * 2, (whole[1] - whole[0]) / 20);
    view.setRange((from + until) / 2 - width / 2, (from + until) / 2 + width / 2);
  });
}
document.getElementById("theme")?.addEventListener("click", () => { traces.redraw(); later(); });
for (const part of document.querySelectorAll(".with-script")) part.hidden = false;
for (const part of document.querySelectorAll(".without-script")) part.hidden = true;
draw().then(study);
