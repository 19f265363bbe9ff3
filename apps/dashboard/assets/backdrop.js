// What never changes while a run plays: paper texture, names, depths, the colour bar. Drawn once per
// run and size. `plot` is the CrossSection, for its box, scales, run and colours.

import { TICKS, level } from "./scale.js";

export function drawBackdrop(pen, plot) {
  drawTexture(pen, plot);
  if (plot.run.sealed) drawSeal(pen, plot);
  drawEdges(pen, plot);
  if (plot.plain) return;
  drawNames(pen, plot);
  drawDepths(pen, plot);
  drawScale(pen, plot);
}

// Strokes for fibres, dots for baryta, specks for the emulsion: layers differ without colour too.
function drawTexture(pen, plot) {
  const { top, bottom } = plot.box;
  const random = seeded(7);
  for (const { name, start, stop } of plot.run.layers) {
    const [a, b] = [plot.x(start), plot.x(stop)];
    pen.save();
    pen.beginPath();
    pen.rect(a, top, b - a, bottom - top);
    pen.clip();
    const count = ((b - a) * (bottom - top)) / (/base/i.test(name) ? 300 : 40);
    for (let i = 0; i < count; i++) {
      const [x, y] = [a + random() * (b - a), top + random() * (bottom - top)];
      pen.strokeStyle = pen.fillStyle = random() < 0.5 ? "rgba(255,255,255,0.08)" : "rgba(0,0,0,0.07)";
      pen.beginPath();
      if (/base/i.test(name)) {
        const [tilt, long] = [(random() - 0.5) * 0.9 + Math.PI / 2, 8 + random() * 16];
        pen.moveTo(x, y);
        pen.quadraticCurveTo(
          x + (random() - 0.5) * 6, y + long / 2,
          x + Math.cos(tilt) * long, y + Math.sin(tilt) * long);
        pen.lineWidth = 1;
        pen.stroke();
      } else {
        pen.arc(x, y, /baryta/i.test(name) ? 1.3 : 0.7, 0, 7);
        pen.fill();
      }
    }
    pen.restore();
  }
}

// The plastic behind a resin-coated emulsion: no water, no colour, not to scale.
function drawSeal(pen, plot) {
  const { top, bottom, right } = plot.box;
  pen.save();
  pen.beginPath();
  pen.rect(plot.face[1], top, right - plot.face[1], bottom - top);
  pen.clip();
  pen.fillStyle = plot.card;
  pen.fill();
  pen.strokeStyle = plot.quiet;
  pen.lineWidth = 1.5;
  for (let x = plot.face[1] - (bottom - top); x < right; x += 10) {
    pen.beginPath();
    pen.moveTo(x, bottom);
    pen.lineTo(x + bottom - top, top);
    pen.stroke();
  }
  pen.restore();
}

function drawEdges(pen, plot) {
  const { top, bottom, left, right } = plot.box;
  pen.strokeStyle = "rgba(255,255,255,0.65)";
  pen.lineWidth = 1;
  const edges = [0, ...plot.run.layers.map((layer) => layer.stop)];
  edges.forEach((depth, i) => {
    const x = Math.round(plot.x(depth)) + 0.5;
    pen.lineWidth = i === 0 || i === edges.length - 1 ? 2 : 1;
    pen.beginPath();
    pen.moveTo(x, top);
    pen.lineTo(x, bottom);
    pen.stroke();
  });
  pen.strokeStyle = plot.quiet;
  pen.lineWidth = 1;
  pen.strokeRect(left - 0.5, top - 0.5, right - left + 1, bottom - top + 1);
}

// Names stand above the picture, joined to their layers by leaders, none over another; on a
// narrow screen the thin layers' names take a line of their own.
function drawNames(pen, plot) {
  const { left, right, top } = plot.box;
  pen.font = `500 ${plot.font}px system-ui, sans-serif`;
  pen.textAlign = "center";
  pen.textBaseline = "alphabetic";
  const names = [
    { text: "water", at: (left + plot.face[0]) / 2, side: true },
    ...plot.run.layers.map(({ name, start, stop }) => ({
      text: `${name} ${Math.round(stop - start)} µm`,
      at: plot.x((start + stop) / 2),
      thin: stop - start < 0.2 * plot.thickness,
    })),
    { text: "water", at: (plot.face[1] + right) / 2, side: true, sealed: plot.run.sealed },
  ];
  for (const name of names) name.width = pen.measureText(name.text).width;
  plot.sides = names.filter((name) => name.side);
  const low = top - 14;
  const upper = plot.narrow ? names.filter((name) => name.thin) : [];
  for (const line of [upper, names.filter((name) => !upper.includes(name))]) {
    spread(line, left, right);
    const base = line === upper ? low - plot.font - 6 : low;
    for (const name of line) {
      pen.fillStyle = plot.ink;
      if (!name.side) pen.fillText(name.text, name.x, base);
      pen.strokeStyle = plot.quiet;
      pen.lineWidth = 1;
      pen.beginPath();
      const reach = name.width / 2 - 6; // the leader starts under the name, as near as it can
      pen.moveTo(Math.min(Math.max(name.at, name.x - reach), name.x + reach), base + 4);
      pen.lineTo(name.at, top);
      pen.stroke();
    }
  }
}

function drawDepths(pen, plot) {
  const { bottom } = plot.box;
  pen.font = `${plot.font - 2}px system-ui, sans-serif`;
  pen.textBaseline = "top";
  pen.textAlign = "center";
  pen.fillStyle = plot.quiet;
  const step = plot.thickness > 150 ? 100 : plot.thickness > 60 ? 25 : 5;
  const beyond = plot.run.sealed ? "plastic" : "film";
  const right = plot.narrow ? beyond : `${beyond}, not to scale`;
  const free = plot.box.right - pen.measureText(right).width - plot.font;
  for (let depth = 0; depth <= plot.thickness; depth += step) {
    const x = plot.x(depth);
    pen.fillRect(x - 0.5, bottom, 1, 4);
    // where the words at the right need the room, the mark stands without its number
    if (x < free) pen.fillText(depth === 0 ? "0 µm" : depth, x, bottom + 6);
  }
  pen.textAlign = "right";
  pen.fillText(right, plot.box.right, bottom + 6);
}

function drawScale(pen, plot) {
  const { right, top, bottom } = plot.box;
  const [x, width] = [right + 6, 12];
  const count = plot.palette.length;
  for (let i = 0; i < count; i++) {
    const [r, g, b] = plot.palette[i];
    const height = (bottom - top) / count;
    pen.fillStyle = `rgb(${r},${g},${b})`;
    pen.fillRect(x, bottom - (i + 1) * height, width, height + 0.6);
  }
  pen.fillStyle = plot.ink;
  pen.font = `${plot.font - 2}px system-ui, sans-serif`;
  pen.textAlign = "left";
  pen.textBaseline = "middle";
  for (const tick of TICKS) {
    const y = Math.min(plot.y(level(tick)), bottom - 5);
    pen.fillRect(x + width, plot.y(level(tick)) - 0.5, 4, 1);
    pen.fillText(tick, x + width + 6, y);
  }
  pen.textBaseline = "alphabetic";
  pen.textAlign = "right";
  pen.fillText("g/L", plot.canvas.clientWidth - 2, top - 14);
}

// Centres names over what they name, then pushes them apart, first rightward, then back inside.
function spread(names, left, right) {
  const gap = 12;
  let edge = left;
  for (const name of names) {
    name.x = Math.max(name.at, edge + name.width / 2);
    edge = name.x + name.width / 2 + gap;
  }
  edge = right;
  for (const name of [...names].reverse()) {
    name.x = Math.min(name.x, edge - name.width / 2);
    edge = name.x - name.width / 2 - gap;
  }
}

// A small fixed sequence of numbers in 0..1, so that the texture is the same at every start.
function seeded(state) {
  return () => {
    state = (state * 1664525 + 1013904223) % 4294967296;
    return state / 4294967296;
  };
}
