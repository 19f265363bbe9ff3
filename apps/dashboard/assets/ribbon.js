// The evening as a ribbon: one bar a print against the clock. Colour is the fixer left in it, bright
// for much; what matters is also told without colour: thick above the target, thin under it, hatched
// in the fixer, letters for trays, a line in the air.

const TOP = 30; // px for the clock and the changes of water
const BOTTOM = 4;
const HIGHEST = 30; // g/m², bright end of the scale
const LOWEST = 0.0005; // dark end: what no test can show
const MARKS = [0.001, 0.01, 0.1, 1, 10];

const share = (residual) =>
  Math.min(Math.max(Math.log10(Math.max(residual, 1e-9) / LOWEST) / Math.log10(HIGHEST / LOWEST), 0), 1);

export class Ribbon {
  constructor(canvas, palette, kinds) {
    this.canvas = canvas;
    this.palette = palette;
    this.kinds = kinds;
    this.data = null;
    new ResizeObserver(() => this.paint()).observe(canvas.parentElement);
  }

  load(data) {
    this.data = data;
    this.canvas.setAttribute("aria-label", this.words());
    this.paint();
  }

  // The picture in words: how each print ends, those that end alike together.
  words() {
    const { sheets, row, residual, target } = this.data;
    const under = sheets.filter((_, i) => residual[row[i]].at(-1) <= target).length;
    const worst = Math.max(...residual.map((values) => values.at(-1)));
    return `${sheets.length} prints; ${under} end under the target of ${target} grams per square metre, the worst at ${worst}.`;
  }

  colour(residual) { return this.palette[Math.round(255 * share(residual))]; }

  paint() {
    if (!this.data) return;
    const { canvas, data } = this;
    const width = canvas.parentElement.clientWidth - 26;
    if (width < 50) return;
    const rows = data.sheets.length;
    const step = Math.max(7, Math.min(24, Math.floor(320 / rows)));
    const height = TOP + rows * step + BOTTOM;
    const ratio = window.devicePixelRatio || 1;
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    canvas.style.height = `${height}px`;
    const pen = canvas.getContext("2d");
    pen.scale(ratio, ratio);
    pen.font = "13px system-ui, sans-serif";
    const style = getComputedStyle(document.documentElement);
    this.ink = style.getPropertyValue("--ink").trim();
    this.quiet = style.getPropertyValue("--quiet").trim();
    this.line = style.getPropertyValue("--line").trim();
    this.left = 10 + Math.max(...data.sheets.map((name) => pen.measureText(name).width));
    this.right = width - 6;
    this.end = data.minutes.at(-1);
    this.x = (minute) => this.left + ((this.right - this.left) * minute) / this.end;
    // on whole pixels of the screen, so that neighbours meet without a hair between them
    this.snapped = (minute) => Math.round(this.x(minute) * ratio) / ratio;
    this.clock(pen, height);
    data.sheets.forEach((name, i) => this.bar(pen, name, data.row[i], TOP + i * step, step, i));
    this.renewals(pen);
  }

  clock(pen, height) {
    const { start, hours } = this.data;
    const gap = [1, 2, 5, 10, 15, 30, 60, 120, 240, 480].find((each) => (this.right - this.left) / (this.end / each) >= 64) ?? 960;
    pen.fillStyle = this.quiet;
    pen.strokeStyle = this.line;
    pen.textBaseline = "alphabetic";
    pen.textAlign = "center";
    const first = Math.ceil(start / 60 / gap) * gap - start / 60;
    for (let minute = first; minute <= this.end + 1e-6; minute += gap) {
      const x = Math.round(this.x(minute)) + 0.5;
      pen.beginPath();
      pen.moveTo(x, TOP - 2);
      pen.lineTo(x, height);
      pen.stroke();
      const text = clockTime(start + 60 * minute, hours);
      const half = pen.measureText(text).width / 2;
      if (x - half > 0 && x + half < this.right + 6) pen.fillText(text, x, 12);
    }
  }

  bar(pen, name, lot, y, step, i) {
    const { residual, stays } = this.data;
    const values = residual[lot];
    const thick = step - 2, thin = Math.max(3, Math.round(step * 0.4));
    pen.fillStyle = this.ink;
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    if (step >= 14 || i % 5 === 0 || i === this.data.sheets.length - 1) pen.fillText(name, this.left - 6, y + step / 2);
    let before = "";
    for (const [kind, letter, start, stop] of stays[lot]) {
      if (kind === "done" || kind === "air") this.thread(pen, start, stop, y + step / 2, kind === "done");
      else if (kind === "fixing") this.hatch(pen, start, stop, y + 1, thick);
      else {
        this.wash(pen, values, start, stop, y, step, thick, thin);
        if (letter !== before && step >= 14) this.letter(pen, values, start, stop, y + step / 2, letter);
      }
      if (letter) before = letter;
    }
  }

  wash(pen, values, start, stop, y, step, thick, thin) {
    const { minutes, target } = this.data;
    for (let k = 0; k + 1 < minutes.length; k += 1) {
      const from = Math.max(minutes[k], start), to = Math.min(minutes[k + 1], stop);
      if (to <= from || values[k] === null) continue;
      const h = values[k + 1] > target ? thick : thin;
      const x = this.snapped(from), wide = this.snapped(to) - x, top = y + Math.floor((step - h) / 2);
      // an edge, or dark bars would be lost on a dark page and bright ones on a bright page
      pen.fillStyle = this.quiet;
      pen.fillRect(x, top - 1, wide, h + 2);
      pen.fillStyle = this.colour(values[k + 1]);
      pen.fillRect(x, top, wide, h);
    }
  }

  // The tray's letter, where it has room on a thick bar.
  letter(pen, values, start, stop, y, letter) {
    const { minutes, target } = this.data;
    const room = this.x(stop) - this.x(start);
    const at = minutes.findIndex((minute) => this.x(minute) > this.x(start) + 22);
    if (room < 22 || at < 0 || !(values[at] > target)) return;
    pen.fillStyle = share(values[at]) > 0.55 ? "#000" : "#fff";
    pen.textAlign = "left";
    pen.fillText(letter, this.x(start) + 5, y + 0.5);
  }

  hatch(pen, start, stop, y, height) {
    const x = this.x(start), width = Math.max(this.x(stop) - x, 3);
    pen.save();
    pen.beginPath();
    pen.rect(x, y, width, height);
    pen.clip();
    pen.strokeStyle = this.ink;
    pen.lineWidth = 1.5;
    for (let at = -height; at < width; at += 4) {
      pen.beginPath();
      pen.moveTo(x + at, y + height);
      pen.lineTo(x + at + height, y);
      pen.stroke();
    }
    pen.restore();
    pen.lineWidth = 1;
    pen.strokeStyle = this.ink;
    pen.strokeRect(x + 0.5, y + 0.5, Math.max(width - 1, 1), height - 1);
  }

  thread(pen, start, stop, y, dotted) {
    pen.strokeStyle = this.quiet;
    pen.setLineDash(dotted ? [1, 4] : []);
    pen.beginPath();
    pen.moveTo(this.x(start), y);
    pen.lineTo(this.x(stop), y);
    pen.stroke();
    pen.setLineDash([]);
  }

  renewals(pen) {
    pen.fillStyle = this.ink;
    pen.textAlign = "center";
    pen.textBaseline = "alphabetic";
    let free = 0;
    for (const [minute, letter] of this.data.renewals) {
      const x = this.x(minute);
      pen.fillText(x > free ? `◆${letter}` : "◆", x, TOP - 4);
      free = x + 26;
    }
  }

  // The scale of colours, dark to bright, with its ends in figures.
  scale(element) {
    const bar = document.createElement("span");
    const stops = [0, 0.25, 0.5, 0.75, 1].map((at) => this.palette[Math.round(255 * at)]);
    bar.style.background = `linear-gradient(to right, ${stops.join(", ")})`;
    bar.title = MARKS.join(", ");
    element.replaceChildren(`${LOWEST}`, bar, `${HIGHEST}`);
  }
}

function clockTime(seconds, hours) {
  const minutes = Math.round(seconds / 60) % 1440;
  const hour = Math.floor(minutes / 60), rest = String(minutes % 60).padStart(2, "0");
  if (hours === 24) return `${String(hour).padStart(2, "0")}:${rest}`;
  return `${((hour + 11) % 12) + 1}:${rest} ${hour < 12 ? "am" : "pm"}`;
}
