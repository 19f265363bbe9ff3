// The sheet edge-on: layers to scale, colour = fixer in the pore liquid, the same numbers as a line
// over it. Colour and line share one logarithmic axis, the colour bar at the right.
//
// The backdrop is drawn once on a second canvas; a frame costs one row of pixels, stretched over the
// height, and two lines.

import { drawBackdrop } from "./backdrop.js";
import { level } from "./scale.js";

const STYLE = {
  mobile: { width: 3, dash: [] },
  held: { width: 2.5, dash: [7, 6] },
};

export class CrossSection {
  // plain: the sheet and its water alone, for small pictures side by side; font: of its words, px
  constructor(canvas, palette, { plain = false, font = 0 } = {}) {
    this.canvas = canvas;
    this.plain = plain;
    this.ownFont = font;
    this.pen = canvas.getContext("2d");
    this.still = document.createElement("canvas");
    this.strip = document.createElement("canvas");
    this.palette = palette.map((hex) => [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16)));
    this.position = 0;
    new ResizeObserver(() => this.resize()).observe(canvas);
  }

  // run: layers [{name, start, stop}] and depth in um; mobile, held: frames x nodes, g/L; water, g/L,
  // and place by frame; sealed: no water reaches the back. span: um that the whole width stands for,
  // so that sheets side by side share one scale; without it the sheet fills the picture.
  load(run) {
    const paper = JSON.stringify([run.layers, run.sealed, run.span, run.depth.length]);
    this.run = run;
    this.nodes = run.depth.length;
    this.mobile = Float32Array.from(run.mobile, level);
    this.held = Float32Array.from(run.held, level);
    this.thickness = run.layers[run.layers.length - 1].stop;
    if (paper === this.paper && this.ratio) this.draw(this.position);
    else this.resize();
    this.paper = paper;
  }

  resize() {
    const ratio = window.devicePixelRatio || 1;
    const { clientWidth: width, clientHeight: height } = this.canvas;
    if (!this.run || width < 120 || !height) return; // hidden, or no room for the scales beside it
    for (const canvas of [this.canvas, this.still]) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    this.ratio = ratio;
    const narrow = width < 560;
    this.narrow = narrow;
    this.font = this.ownFont || (narrow ? 13 : 15);
    this.box = this.plain ? { left: 1, right: width - 1, top: 1, bottom: height - 1 } : { left: 1, right: width - (narrow ? 57 : 66), top: narrow ? 52 : 32, bottom: height - 22 };
    const filled = this.thickness / (this.run.span ?? this.thickness);
    const water = Math.max(this.plain ? 3.9 * this.font : 42, Math.min(84, width * 0.085));
    this.face = [this.box.left + water, this.box.right - water - 1];
    this.face[1] = this.face[0] + filled * (this.face[1] - this.face[0]);
    this.prepareStrip();
    this.drawStill();
    this.draw(this.position);
  }

  x(depth) {
    return this.face[0] + (depth / this.thickness) * (this.face[1] - this.face[0]);
  }

  y(share) {
    return this.box.bottom - share * (this.box.bottom - this.box.top);
  }

  // For every pixel column: which nodes it lies between, or how far out in the film or the water.
  prepareStrip() {
    const { left, right } = this.box;
    const count = Math.round((right - left) * this.ratio);
    this.strip.width = count;
    this.strip.height = 1;
    this.film = Math.min(18, (this.face[0] - left) * 0.4);
    this.columns = new Float32Array(count); // 0..nodes-1 inside; below or above: into the film
    const depth = this.run.depth;
    let node = 0;
    for (let i = 0; i < count; i++) {
      const x = left + (i + 0.5) / this.ratio;
      const at = ((x - this.face[0]) / (this.face[1] - this.face[0])) * this.thickness;
      if (x < this.face[0]) {
        this.columns[i] = -(this.face[0] - x) / this.film;
      } else if (x > this.face[1]) {
        this.columns[i] = this.nodes - 1 + (x - this.face[1]) / this.film;
      } else {
        while (node < this.nodes - 2 && depth[node + 1] < at) node++;
        const share = (at - depth[node]) / (depth[node + 1] - depth[node] || 1);
        this.columns[i] = node + Math.min(Math.max(share, 0), 0.99999);
      }
    }
    this.pixels = this.strip.getContext("2d").createImageData(count, 1);
  }

  // Levels (0..1 on the axis) of one array at a position between two frames.
  between(levels, position) {
    const before = Math.floor(position);
    const after = Math.min(before + 1, this.run.water.length - 1);
    const share = position - before;
    const found = new Float32Array(this.nodes);
    for (let i = 0; i < this.nodes; i++) {
      found[i] =
        levels[before * this.nodes + i] * (1 - share) + levels[after * this.nodes + i] * share;
    }
    return found;
  }

  waterAt(position) {
    // within one place the water changes smoothly; between two places it jumps
    const before = Math.floor(position);
    const after = Math.min(before + 1, this.run.water.length - 1);
    if (this.run.place[before] !== this.run.place[after]) return level(this.run.water[before]);
    const share = position - before;
    return level(this.run.water[before]) * (1 - share) + level(this.run.water[after]) * share;
  }

  draw(position) {
    this.position = position;
    if (!this.run || !this.ratio) return;
    const pen = this.pen;
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.clearRect(0, 0, this.canvas.width, this.canvas.height);
    pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    this.drawMoment(pen, () => {
      pen.setTransform(1, 0, 0, 1, 0, 0);
      pen.drawImage(this.still, 0, 0);
      pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    });
  }

  // The picture of this moment with another pen, such as one that writes a file.
  paint(pen) {
    this.drawMoment(pen, () => drawBackdrop(pen, this));
  }

  drawMoment(pen, drawStill) {
    const mobile = this.between(this.mobile, this.position);
    const held = this.between(this.held, this.position);
    const water = this.waterAt(this.position);
    this.drawColour(pen, mobile, water);
    drawStill();
    const anyHeld = held.some((share) => share > 0);
    if (anyHeld) this.drawLine(pen, this.path(held, null), STYLE.held);
    this.drawLine(pen, this.path(mobile, water), STYLE.mobile);
    if (!this.plain) this.nameLines(pen, mobile, anyHeld ? held : null);
    this.nameSides(pen, this.run.place[Math.floor(this.position)]);
  }

  drawColour(pen, mobile, water) {
    const data = this.pixels.data;
    const last = this.nodes - 1;
    for (let i = 0; i < this.columns.length; i++) {
      const at = this.columns[i];
      let share;
      if (at < 0) share = mobile[0] + (water - mobile[0]) * Math.min(-at, 1);
      else if (at > last) share = mobile[last] + (water - mobile[last]) * Math.min(at - last, 1);
      else {
        const node = Math.floor(at);
        const next = Math.min(node + 1, last);
        share = mobile[node] + (mobile[next] - mobile[node]) * (at - node);
      }
      const [r, g, b] = this.palette[Math.round(share * 255)];
      data.set([r, g, b, 255], i * 4);
    }
    this.strip.getContext("2d").putImageData(this.pixels, 0, 0);
    const { left, right, top, bottom } = this.box;
    pen.imageSmoothingEnabled = false;
    pen.drawImage(this.strip, left, top, right - left, bottom - top);
  }

  path(levels, water) {
    const points = [];
    if (water !== null) {
      points.push([this.box.left, water], [this.face[0] - this.film, water]);
    }
    levels.forEach((share, i) => points.push([this.x(this.run.depth[i]), share]));
    if (water !== null && !this.run.sealed) {
      points.push([this.face[1] + this.film, water], [this.box.right, water]);
    }
    return points;
  }

  drawLine(pen, points, style) {
    pen.lineJoin = "round";
    pen.setLineDash(style.dash);
    for (const [colour, width] of [["rgba(10, 14, 24, 0.75)", style.width + 3], ["#ffffff", style.width]]) {
      // a path for each stroke: a pen that writes a file keeps one stroke of a path
      pen.beginPath();
      points.forEach(([x, share], i) => pen[i ? "lineTo" : "moveTo"](x, this.y(share)));
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.stroke();
    }
    pen.setLineDash([]);
  }

  // Each line carries its name, the upper one above, the lower one below where there is
  // room, clear of each other.
  nameLines(pen, mobile, held) {
    const node = Math.round(0.62 * (this.nodes - 1));
    const x = this.x(this.run.depth[node]);
    const gap = this.font * 0.85;
    const inside = (y) => Math.min(Math.max(y, this.box.top + gap), this.box.bottom - gap);
    const name = {
      mobile: this.narrow ? "mobile" : "mobile, g per L of liquid",
      held: this.narrow ? "held" : "held, g per L of layer",
    };
    if (!held) {
      this.label(pen, name.mobile, x, inside(this.y(mobile[node]) - gap));
      return;
    }
    const order = mobile[node] >= held[node] ? ["mobile", "held"] : ["held", "mobile"];
    const levels = [mobile[node], held[node]].sort((one, other) => other - one);
    const below = this.y(levels[1]) + gap;
    const lower = below <= inside(below) ? below : this.y(levels[1]) - gap;
    const upper = Math.min(inside(this.y(levels[0]) - gap), lower - 1.5 * this.font);
    this.label(pen, name[order[0]], x, upper);
    this.label(pen, name[order[1]], x, lower);
  }

  label(pen, text, x, y) {
    pen.font = `600 ${this.font}px system-ui, sans-serif`;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    pen.lineWidth = 4;
    pen.strokeStyle = "rgba(10, 14, 24, 0.8)";
    pen.strokeText(text, x, y);
    pen.fillStyle = "#ffffff";
    pen.fillText(text, x, y);
  }

  // What the sheet lies in changes while the run plays, so the sides are named with each frame.
  nameSides(pen, place) {
    const around = { fixer: "fixer", draining: "air" }[place] ?? "water";
    if (this.plain) {
      // inside the picture, where nothing else is written
      const { left, right, bottom } = this.box;
      const y = bottom - 0.8 * this.font;
      this.label(pen, around, (left + this.face[0]) / 2, y);
      this.label(pen, this.run.sealed ? "sealed" : around, (this.face[1] + right) / 2, y);
      return;
    }
    pen.font = `500 ${this.font}px system-ui, sans-serif`;
    pen.textAlign = "center";
    pen.textBaseline = "alphabetic";
    pen.fillStyle = this.ink;
    for (const name of this.sides) {
      pen.fillText(name.sealed ? "sealed" : around, name.x, this.box.top - 14);
    }
  }

  drawStill() {
    const pen = this.still.getContext("2d");
    pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    pen.clearRect(0, 0, this.still.width, this.still.height);
    const style = getComputedStyle(this.canvas);
    this.ink = style.getPropertyValue("--ink").trim();
    this.quiet = style.getPropertyValue("--quiet").trim();
    this.card = style.getPropertyValue("--card").trim();
    drawBackdrop(pen, this);
  }
}
