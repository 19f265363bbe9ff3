// A curve drawn by hand on the axes of the answer: mouse, finger or keyboard.

import { Plot, svg } from "./plot.js";

const COLUMNS = 60;
const NUDGE = 10 ** 0.1; // a tenth of a tenfold for each press of a key
const FILLED = 0.5; // of the columns, before the curve counts as drawn
const plain = (value) => Number(value.toPrecision(2)).toString();

export class Pencil {
  // changed is called with true once enough is drawn
  constructor(box, { span, low, high }, changed) {
    this.plot = new Plot(box, { start: span[0], stop: span[1], low, high });
    this.changed = changed;
    this.low = low;
    this.high = high;
    const image = this.plot.image;
    image.setAttribute("tabindex", "0");
    image.setAttribute("role", "slider");
    image.setAttribute("aria-label", "Your curve of the fixer left, g/m² against minutes");
    image.setAttribute("aria-valuemin", low);
    image.setAttribute("aria-valuemax", high);
    image.classList.add("pencil");
    this.column = 0;
    this.wipe();
    image.addEventListener("pointerdown", (event) => {
      image.setPointerCapture(event.pointerId);
      this.last = null;
      this.stroke(event);
    });
    image.addEventListener("pointermove", (event) => {
      if (image.hasPointerCapture(event.pointerId)) this.stroke(event);
    });
    image.addEventListener("keydown", (event) => this.key(event));
    image.addEventListener("focus", () => this.redraw());
    image.addEventListener("blur", () => this.redraw());
  }

  minute(column) {
    const { start, stop } = this.plot.axis;
    return start + ((stop - start) * column) / COLUMNS;
  }

  // The drawn curve; gaps between strokes are straight on this axis.
  get points() {
    const known = this.values.map((value, i) => [i, value]).filter(([, value]) => value !== null);
    return known.map(([i, value]) => [this.minute(i), value]);
  }

  wipe() {
    this.values = Array(COLUMNS + 1).fill(null);
    this.redraw();
  }

  stroke(event) {
    event.preventDefault();
    const box = this.plot.image.getBoundingClientRect();
    const { start, stop } = this.plot.axis;
    const minute = this.plot.minuteAt(event.clientX - box.left);
    const column = Math.round((COLUMNS * (minute - start)) / (stop - start));
    const here = [Math.min(Math.max(column, 0), COLUMNS), this.within(this.plot.valueAt(event.clientY - box.top))];
    const from = this.last ?? here;
    const steps = Math.max(1, Math.abs(here[0] - from[0]));
    for (let i = 0; i <= steps; i++) {
      const share = i / steps;
      const at = Math.round(from[0] + (here[0] - from[0]) * share);
      this.values[at] = from[1] * (here[1] / from[1]) ** share;
    }
    this.last = here;
    this.column = here[0];
    this.redraw();
  }

  within(value) {
    return Math.min(Math.max(value, this.low), this.high);
  }

  key(event) {
    const moves = { ArrowLeft: [-1, 1], ArrowRight: [1, 1], ArrowUp: [0, NUDGE], ArrowDown: [0, 1 / NUDGE] };
    const move = moves[event.key];
    if (!move || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    event.stopPropagation();
    const before = this.values[this.column] ?? Math.sqrt(this.low * this.high);
    this.column = Math.min(Math.max(this.column + move[0], 0), COLUMNS);
    // moving on carries the line along, so that a curve is drawn by going through it once
    const value = move[0] && this.values[this.column] !== null ? this.values[this.column] : before;
    this.values[this.column] = this.within(value * move[1]);
    this.redraw();
  }

  redraw() {
    const drawn = this.points;
    this.plot.show({ drawn });
    const value = this.values[this.column];
    const image = this.plot.image;
    image.setAttribute("aria-valuenow", value ?? this.low);
    image.setAttribute(
      "aria-valuetext",
      `minute ${Math.round(this.minute(this.column))}: ${value === null ? "nothing drawn" : `${plain(value)} g/m²`}`,
    );
    if (document.activeElement === image && value !== null && this.plot.em) {
      image.append(svg("circle", { class: "tip", cx: this.plot.x(this.minute(this.column)), cy: this.plot.y(value), r: 0.5 * this.plot.em }));
    }
    this.changed?.(drawn.length >= FILLED * COLUMNS);
  }
}
