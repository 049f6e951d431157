// Draws channels over time into one box: each in a strip of its own, or laid over one another.
// The server sends the lowest and highest sample of each column of pixels, so nothing is ever missed.
const FAMILY = "system-ui, sans-serif";

// Strokes differ in dashes as well as in shade: colour never alone.
const DASHES = [[], [8, 4], [2, 3], [10, 3, 2, 3]];

function paint(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

function strokes() {
  return [paint("--ink"), paint("--accent"), paint("--warn"), paint("--good")];
}

// Instants as people say them: "1.25 ms", "310 µs", "2.4 s".
export function instant(seconds, step = Math.abs(seconds)) {
  if (Math.abs(seconds) >= 1) return `${seconds.toFixed(Math.min(9, Math.max(0, 2 - Math.floor(Math.log10(step || 1)))))} s`;
  const [factor, unit] = step >= 1 || step === 0 ? [1, "s"] : step >= 1e-3 ? [1e3, "ms"] : step >= 1e-6 ? [1e6, "µs"] : [1e9, "ns"];
  const digits = step === 0 ? 3 : Math.max(0, 2 - Math.floor(Math.log10(step * factor)));
  return `${(seconds * factor).toFixed(Math.min(digits, 9))} ${unit}`;
}

// Units as they are read, where logs spell them for machines.
const READ = { "degC": "°C", "1/min": "rpm" };
export function unitWords(unit) {
  return READ[unit] ?? unit;
}

// Values with their unit, volts below one in millivolts too.
export function shown(value, unit) {
  if (value === null || value === undefined || Number.isNaN(value)) return "nothing";
  if (unit === "V") return Math.abs(value) < 1 ? `${(value * 1000).toFixed(Math.abs(value) < 0.1 ? 1 : 0)} mV` : `${value.toFixed(3)} V`;
  return `${Number(value.toPrecision(5))} ${unitWords(unit)}`.trim();
}

export class Traces {
  constructor(box, onRange) {
    this.box = box;
    this.onRange = onRange;
    this.strips = [];
    this.range = null;
    this.cursors = { A: null, B: null };
    this.marks = []; // first and last instant of each
    new ResizeObserver(() => this.resize()).observe(box);
  }

  // drawing: { times, channels: [{ name, unit, lowest, highest, strip }] }
  show(drawing) {
    this.range = [drawing.start, drawing.end];
    const strips = [...new Set(drawing.channels.map((each) => each.strip ?? 0))];
    const same = this.strips.length === strips.length && this.count === drawing.channels.length;
    if (!same) this.build(drawing, strips);
    strips.forEach((strip, at) => {
      const own = drawing.channels.filter((each) => (each.strip ?? 0) === strip);
      const data = [drawing.times, ...own.flatMap((each) => [each.lowest, each.highest])];
      this.strips[at].batch(() => {
        this.strips[at].setData(data, false);
        this.strips[at].setScale("x", { min: drawing.start, max: drawing.end });
        for (const [unit, scale] of this.scales(own)) this.strips[at].setScale(unit, scale);
      });
    });
  }

  scales(channels) {
    const found = new Map();
    for (const each of channels) {
      const low = Math.min(...each.lowest.filter((value) => value !== null));
      const high = Math.max(...each.highest.filter((value) => value !== null));
      const known = found.get(each.unit || "value") ?? { min: Infinity, max: -Infinity };
      found.set(each.unit || "value", { min: Math.min(known.min, low), max: Math.max(known.max, high) });
    }
    for (const scale of found.values()) {
      if (!Number.isFinite(scale.min)) Object.assign(scale, { min: 0, max: 1 });
      const margin = (scale.max - scale.min || Math.abs(scale.max) || 1) * 0.06;
      scale.min -= margin;
      scale.max += margin;
    }
    return found;
  }

  build(drawing, strips) {
    for (const old of this.strips) old.destroy();
    this.count = drawing.channels.length;
    const colours = strokes();
    let number = 0;
    this.strips = strips.map((strip, at) => {
      const own = drawing.channels.filter((each) => (each.strip ?? 0) === strip);
      const series = [{}];
      const bands = [];
      for (const each of own) {
        const stroke = colours[number % colours.length];
        const dash = DASHES[number % DASHES.length];
        const scale = each.unit || "value";
        series.push({ scale, stroke, dash, width: 1.5, points: { show: false } });
        series.push({ scale, stroke, dash, width: 1.5, points: { show: false } });
        bands.push({ series: [series.length - 1, series.length - 2], fill: stroke });
        number += 1;
      }
      const units = [...new Set(own.map((each) => each.unit || "value"))];
      const isLast = at === strips.length - 1;
      const axis = { stroke: paint("--ink"), font: `13px ${FAMILY}`, grid: { stroke: paint("--wash"), width: 1 }, ticks: { stroke: paint("--rule") } };
      const options = {
        width: this.box.clientWidth || 320,
        height: this.height(strips.length),
        legend: { show: false },
        cursor: { show: false },
        select: { show: false },
        scales: { x: { time: false, auto: false }, ...Object.fromEntries(units.map((unit) => [unit, { auto: false }])) },
        axes: [
          { ...axis, size: isLast ? 34 : 8, values: isLast ? (_, ticks) => ticks.map((tick) => instant(tick, Math.abs(ticks[1] - ticks[0]) * 5 || Math.abs(tick))) : () => [] },
          ...units.map((unit, index) => ({ ...axis, scale: unit, size: 52, side: index % 2 ? 1 : 3, grid: index ? { show: false } : axis.grid, label: unit === "value" ? "" : unitWords(unit), labelSize: 16, labelFont: `bold 13px ${FAMILY}` })),
        ],
        series,
        bands,
        hooks: { draw: [(plot) => this.drawCursors(plot)] },
      };
      return new uPlot(options, [[0, 1], ...own.flatMap(() => [[null, null], [null, null]])], this.box);
    });
  }

  height(count) {
    const most = this.box.clientWidth < 600 ? 220 : 280;
    return count === 1 ? most : Math.max(130, Math.round((1.5 * most) / count));
  }

  resize() {
    for (const strip of this.strips) strip.setSize({ width: this.box.clientWidth, height: this.height(this.strips.length) });
  }

  // Seconds under a point of the screen.
  timeAt(clientX) {
    const plot = this.strips[0];
    if (!plot) return null;
    const over = plot.over.getBoundingClientRect();
    return plot.posToVal(Math.min(Math.max(clientX - over.left, 0), over.width), "x");
  }

  secondsPerPixel() {
    const over = this.strips[0]?.over.getBoundingClientRect();
    return over && over.width ? (this.range[1] - this.range[0]) / over.width : 0;
  }

  setCursor(name, seconds) {
    this.cursors[name] = seconds;
    for (const strip of this.strips) strip.redraw(false);
  }

  drawCursors(plot) {
    const { ctx, bbox } = plot;
    ctx.save();
    this.drawMarks(plot);
    for (const [name, seconds] of Object.entries(this.cursors)) {
      if (seconds === null || seconds < this.range[0] || seconds > this.range[1]) continue;
      const x = Math.round(plot.valToPos(seconds, "x", true));
      ctx.strokeStyle = ctx.fillStyle = paint("--ink");
      ctx.lineWidth = 2 * devicePixelRatio;
      ctx.setLineDash(name === "A" ? [] : [6 * devicePixelRatio, 4 * devicePixelRatio]);
      ctx.beginPath();
      ctx.moveTo(x, bbox.top);
      ctx.lineTo(x, bbox.top + bbox.height);
      ctx.stroke();
      const size = 18 * devicePixelRatio;
      ctx.fillRect(x - size / 2, bbox.top, size, size);
      ctx.fillStyle = paint("--paper");
      ctx.font = `bold ${13 * devicePixelRatio}px ${FAMILY}`;
      ctx.textAlign = "center";
      ctx.textBaseline = "middle";
      ctx.fillText(name, x, bbox.top + size / 2);
    }
    ctx.restore();
  }

  drawMarks(plot) {
    const { ctx, bbox } = plot;
    ctx.fillStyle = ctx.strokeStyle = paint("--ink");
    ctx.lineWidth = devicePixelRatio;
    ctx.setLineDash([2 * devicePixelRatio, 4 * devicePixelRatio]);
    ctx.font = `bold ${13 * devicePixelRatio}px ${FAMILY}`;
    ctx.textAlign = "left";
    ctx.textBaseline = "bottom";
    this.marks.forEach(([from, until], number) => {
      for (const seconds of from === until ? [from] : [from, until]) {
        if (seconds < this.range[0] || seconds > this.range[1]) continue;
        const x = Math.round(plot.valToPos(seconds, "x", true));
        ctx.beginPath();
        ctx.moveTo(x, bbox.top);
        ctx.lineTo(x, bbox.top + bbox.height);
        ctx.stroke();
        ctx.fillText(String(number + 1), x + 3 * devicePixelRatio, bbox.top + bbox.height - 3);
      }
    });
  }

  redraw() {
    for (const strip of this.strips) strip.destroy();
    this.strips = [];
    this.count = -1;
  }
}
