// Fixer left against minutes, as SVG: it prints sharp, takes its colours from the page's style and
// its type size from the box it stands in. The residual axis counts in tenfolds.

const NS = "http://www.w3.org/2000/svg";
let plots = 0;

export const svg = (name, attributes = {}, text = "") => {
  const made = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text) made.textContent = text;
  return made;
};

// 0.00001 and 10, never an exponent
const plain = (value) => {
  const places = Math.max(0, -Math.floor(Math.log10(value) + 1e-9));
  return value.toFixed(Math.min(places, 9));
};

export class Plot {
  // axis: start and stop in minutes, low and high in the unit of `upward`, all tenfolds
  constructor(box, axis, { across = "minutes of washing", label = "" } = {}) {
    this.box = box;
    this.axis = axis;
    this.across = across;
    this.id = `plot-${plots++}`;
    this.image = svg("svg", { role: "img", "aria-label": label });
    box.replaceChildren(this.image);
    this.content = { lines: [] };
    this.minute = Infinity;
    new ResizeObserver(() => this.draw()).observe(box);
  }

  // lines: [{minutes, values, style, letter}]; target; visible [from, to]; drawn: a predicted line
  show(content) {
    this.content = { lines: [], ...content };
    this.draw();
  }

  // curves up to a minute and no further; Infinity shows all, with their letters
  reveal(minute) {
    this.minute = minute;
    if (this.clip) this.place();
  }

  x(minute) {
    const { start, stop } = this.axis;
    return this.left + ((minute - start) / (stop - start)) * (this.right - this.left);
  }

  y(value) {
    const { low, high } = this.axis;
    const share = Math.log(Math.max(value, low * 1e-3) / low) / Math.log(high / low);
    return this.bottom - share * (this.bottom - this.top);
  }

  minuteAt(x) {
    const { start, stop } = this.axis;
    return start + ((x - this.left) / (this.right - this.left)) * (stop - start);
  }

  valueAt(y) {
    const { low, high } = this.axis;
    return low * (high / low) ** ((this.bottom - y) / (this.bottom - this.top));
  }

  draw() {
    const { clientWidth: width, clientHeight: height } = this.box;
    const em = parseFloat(getComputedStyle(this.box).fontSize);
    if (width < 12 * em || height < 6 * em) return; // no room for its own labels: leave it as it is
    this.em = em;
    this.left = em * (0.9 + 0.6 * Math.max(plain(this.axis.low).length, plain(this.axis.high).length));
    this.right = width - em;
    this.top = 0.7 * em;
    this.bottom = height - 2.7 * em;
    this.image.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.image.replaceChildren();
    this.grid();
    this.levels();
    this.curves();
    this.names();
    this.place();
  }

  add(name, attributes, text) {
    return this.image.appendChild(svg(name, attributes, text));
  }

  grid() {
    const { start, stop, low, high } = this.axis;
    for (let value = low; value <= high * 1.001; value *= 10) {
      const y = this.y(value);
      this.add("line", { class: "grid", x1: this.left, x2: this.right, y1: y, y2: y });
      this.add("text", { class: "tick", x: this.left - 0.4 * this.em, y: y + 0.35 * this.em, "text-anchor": "end" }, plain(value));
    }
    const room = (this.right - this.left) / (4 * this.em);
    const step = [1, 2, 5, 10, 20, 30, 60, 120].find((one) => (stop - start) / one <= room) ?? 240;
    for (let minute = Math.ceil(start / step) * step; minute <= stop + 1e-6; minute += step) {
      const x = this.x(minute);
      this.add("line", { class: "grid", x1: x, x2: x, y1: this.top, y2: this.bottom });
      this.add("text", { class: "tick", x, y: this.bottom + 1.1 * this.em, "text-anchor": "middle" }, String(minute));
    }
    const middle = (this.left + this.right) / 2;
    this.add("text", { class: "tick", x: middle, y: this.bottom + 2.3 * this.em, "text-anchor": "middle" }, this.across);
    this.add("rect", { class: "frame", x: this.left, y: this.top, width: this.right - this.left, height: this.bottom - this.top });
  }

  levels() {
    const { target, visible } = this.content;
    if (visible) {
      const hatch = this.add("pattern", { id: `${this.id}-hatch`, width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
      hatch.append(svg("line", { class: "hatch", x1: 0, y1: 0, x2: 0, y2: 7 }));
      const [from, to] = visible.map((value) => this.y(value));
      this.add("rect", { x: this.left, y: to, width: this.right - this.left, height: from - to, fill: `url(#${this.id}-hatch)` });
    }
    if (target) {
      const y = this.y(target);
      this.add("line", { class: "goal", x1: this.left, x2: this.right, y1: y, y2: y });
    }
  }

  // over the curves, so that they can be read where curves cross them
  names() {
    const { target, visible } = this.content;
    const x = this.left + 0.4 * this.em;
    if (target) this.add("text", { class: "words", x, y: this.y(target) - 0.35 * this.em }, `target ${target} g/m²`);
    if (visible) this.add("text", { class: "words", x, y: this.y(visible[0]) + 1.05 * this.em }, "a drop begins to show");
  }

  path(minutes, values) {
    return minutes.map((minute, i) => `${i ? "L" : "M"}${this.x(minute).toFixed(1)} ${this.y(values[i]).toFixed(1)}`).join("");
  }

  curves() {
    const { lines, drawn } = this.content;
    const frame = { x: this.left, y: this.top - 2, height: this.bottom - this.top + 4 };
    const whole = this.add("clipPath", { id: `${this.id}-whole` });
    whole.append(svg("rect", { ...frame, width: this.right - this.left }));
    this.clip = svg("rect", frame);
    const shown = this.add("clipPath", { id: this.id });
    shown.append(this.clip);
    for (const line of lines) {
      this.add("path", { class: `curve ${line.style}`, d: this.path(line.minutes, line.values), "clip-path": `url(#${this.id})` });
    }
    if (drawn?.length) {
      const [minutes, values] = [drawn.map((point) => point[0]), drawn.map((point) => point[1])];
      this.add("path", { class: "curve guess", d: this.path(minutes, values), "clip-path": `url(#${this.id}-whole)` });
    }
    this.marker = this.add("line", { class: "marker", y1: this.top, y2: this.bottom });
    this.dots = lines.map((line) => this.add("circle", { class: `dot ${line.style}`, r: 0.4 * this.em }));
    this.letters = this.add("g", { class: "letters" });
    this.placeLetters();
  }

  // where each is farthest from the letters placed before it, and later on the curve rather than
  // early, where curves still run together
  placeLetters() {
    const { start, stop, low } = this.axis;
    const taken = [];
    this.content.lines.forEach((line) => {
      if (!line.letter) return;
      const seen = line.minutes.filter((minute, j) => minute <= stop && line.values[j] > 2 * low).at(-1) ?? start;
      const spots = Array.from({ length: 30 }, (_, i) => {
        const minute = start + (0.2 + 0.026 * i) * (seen - start);
        const [x, y] = [this.x(minute), this.y(at(line, minute))];
        const clear = Math.min(4 * this.em, ...taken.map(([a, b]) => Math.hypot(a - x, b - y)));
        return { x, y, worth: clear + 0.02 * i * this.em };
      });
      const { x, y } = spots.reduce((best, spot) => (spot.worth > best.worth ? spot : best));
      taken.push([x, y]);
      const radius = 0.75 * this.em;
      this.letters.append(
        svg("circle", { class: "tag", cx: x, cy: y, r: radius }),
        svg("text", { class: "tag-text", x, y: y + 0.35 * this.em, "text-anchor": "middle" }, line.letter),
      );
    });
  }

  place() {
    const { lines } = this.content;
    const all = this.minute === Infinity;
    const x = all ? this.right : Math.min(Math.max(this.x(this.minute), this.left), this.right);
    this.clip.setAttribute("width", Math.max(0, x - this.left));
    this.letters.style.display = all ? "" : "none";
    this.marker.style.display = all || !lines.length ? "none" : "";
    this.marker.setAttribute("x1", x);
    this.marker.setAttribute("x2", x);
    lines.forEach((line, i) => {
      const value = at(line, this.minute);
      const seen = !all && value >= this.axis.low && this.minute <= line.minutes.at(-1) + 0.01;
      this.dots[i].style.display = seen ? "" : "none";
      if (!seen) return;
      this.dots[i].setAttribute("cx", x);
      this.dots[i].setAttribute("cy", this.y(value));
    });
  }
}

// A line's value at a minute; its last one after its end.
export function at({ minutes, values }, minute) {
  if (minute <= minutes[0]) return values[0];
  if (minute >= minutes.at(-1)) return values.at(-1);
  let after = 1;
  while (minutes[after] < minute) after++;
  const share = (minute - minutes[after - 1]) / (minutes[after] - minutes[after - 1] || 1);
  return values[after - 1] + (values[after] - values[after - 1]) * share;
}
