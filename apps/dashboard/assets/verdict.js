// A prediction, and those of a class, drawn beside what the runs say: a number line or a list.

import { svg } from "./plot.js";

const words = (value) => (Math.abs(value) >= 100 ? Math.round(value).toString() : Number(value.toPrecision(2)).toString());

// ask: what was asked; told: number or choice that the runs come to; own: this visitor's prediction
// or null; votes: everybody's.
export function showVerdict(box, ask, told, own, votes) {
  box.replaceChildren();
  box.hidden = ask.kind === "curve";
  if (ask.kind === "number") numberLine(box, ask, told.number, own, votes);
  if (ask.kind === "choice") choices(box, ask, told.choice, own, votes);
}

function numberLine(box, ask, number, own, votes) {
  const width = Math.max(box.clientWidth, 240);
  const em = parseFloat(getComputedStyle(box).fontSize);
  const height = 6.6 * em;
  const image = svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, role: "img" });
  const add = (name, attributes, text) => image.appendChild(svg(name, attributes, text));
  const share = (value) => ask.scale === "log"
    ? Math.log(value / ask.low) / Math.log(ask.high / ask.low)
    : (value - ask.low) / (ask.high - ask.low);
  const [left, right, y] = [1.2 * em, width - 1.2 * em, 3.1 * em];
  const x = (value) => left + Math.min(Math.max(share(value), 0), 1) * (right - left);
  add("line", { class: "rule", x1: left, x2: right, y1: y, y2: y });
  for (const value of ticks(ask)) {
    add("line", { class: "rule", x1: x(value), x2: x(value), y1: y - 0.3 * em, y2: y + 0.3 * em });
    add("text", { class: "tick", x: x(value), y: y + 3.2 * em, "text-anchor": anchor(x(value), width, 2.5 * em) }, words(value));
  }
  for (const vote of votes) add("line", { class: "vote", x1: x(vote), x2: x(vote), y1: y - 0.8 * em, y2: y + 0.8 * em });
  const say = (value, text, up) => {
    const level = up ? y - 1.5 * em : y + 1.95 * em;
    add("text", { class: "say-text", x: x(value), y: level, "text-anchor": anchor(x(value), width, 6 * em) }, text);
  };
  add("path", { class: "truth", d: `M${x(number)} ${y}l${-0.5 * em} ${-em}h${em}z` });
  say(number, `the runs: ${words(number)} ${ask.unit}`, true);
  if (own !== null) {
    add("circle", { class: "own", cx: x(own), cy: y, r: 0.5 * em });
    say(own, `you: ${words(own)} ${ask.unit}`, false);
  }
  const people = votes.length > 1 ? `; ${votes.length} predictions marked` : "";
  image.setAttribute("aria-label", `The runs say ${words(number)} ${ask.unit}${own === null ? "" : `, you said ${words(own)}`}${people}.`);
  box.append(image);
}

function anchor(x, width, room) {
  if (x < room) return "start";
  return x > width - room ? "end" : "middle";
}

function ticks({ low, high, scale }) {
  const found = [];
  if (scale === "log") {
    for (let value = 10 ** Math.ceil(Math.log10(low) - 1e-9); value <= high * 1.001; value *= 10) found.push(value);
    return found;
  }
  const rough = (high - low) / 5;
  const size = 10 ** Math.floor(Math.log10(rough));
  const step = size * [1, 2, 5, 10].find((one) => one * size >= rough);
  for (let value = Math.ceil(low / step) * step; value <= high + 1e-9; value += step) found.push(Number(value.toPrecision(6)));
  return found;
}

function choices(box, ask, right, own, votes) {
  const list = document.createElement("ul");
  list.className = "votes";
  ask.choices.forEach((label, i) => {
    const row = document.createElement("li");
    const count = votes.filter((vote) => vote === i).length;
    const marks = [i === right ? "the runs" : "", i === own ? "you" : ""].filter(Boolean);
    row.classList.toggle("right", i === right);
    const text = document.createElement("span");
    text.textContent = `${i === right ? "✓ " : ""}${label}`;
    const mark = document.createElement("b");
    mark.textContent = marks.join(" and ");
    row.append(text, mark);
    if (votes.length > 1) {
      const bar = document.createElement("span");
      bar.className = "count";
      bar.textContent = `${count} of ${votes.length}`;
      bar.style.setProperty("--share", count / votes.length);
      row.append(bar);
    }
    list.append(row);
  });
  box.append(list);
}
