// The Explore page in the browser. The server ships a run once (frames, curves, words); from then
// on this file moves the picture, the marker and the readouts from one clock.

import { Controls } from "./controls.js";
import { CrossSection } from "./cross_section.js";
import { Desk } from "./desk.js";
import { digits, minutes } from "./digits.js";
import { make } from "./fields.js";
import { bindFirst } from "./first.js";
import { bindKeep } from "./keep.js";
import { Player } from "./player.js";
import { notify, onTheme, setState } from "./shell.js";
import { Schedule } from "./schedule.js";
import { followClock, followTheme, valueAt } from "./residual.js";
import { bindKeys, bindTransport, showScrub } from "./transport.js";

const OPENING = 0.5; // share of the load still in the sheet
const find = (id) => document.getElementById(id);

export function start({ board, frames, layers, curves, residual, water, theme, palette }) {
  const player = new Player();
  const section = new CrossSection(find("section"), palette);
  const desk = new Desk(board);
  const controls = new Controls(find("inputs"), desk);
  const schedule = new Schedule(find("editor"), desk);
  for (const [figure, marker] of [residual, water]) followClock(player, figure, marker);
  followTheme(theme);
  onTheme(() => section.resize());

  const page = { player, section, frames, layers, curves };
  player.addEventListener("time", () => showMoment(page));
  bindTransport(player);
  find("section").addEventListener("click", () => player.toggle());
  bindKeys(player);

  bindHistory(desk);
  bindKeep(desk, { section, residual: residual[0], water: water[0] });
  bindMethod(desk);
  bindFirst(desk);

  load(page, opening(frames));
  tell(desk);
  showOrigins(board.shape.origins);
  notify(board.told.error, "error");
  setState(board.told.state);
  board.properties.shape.change.connect(() => {
    controls.build();
    schedule.build();
    showOrigins(board.shape.origins);
  });
  const help = () => { find("help").textContent = board.help || "…"; };
  help();
  board.properties.help.change.connect(help);
  desk.addEventListener("told", () => {
    if (!board.told.error) load(page, player.minute);
    controls.show();
    schedule.show();
    tell(desk);
  });
  document.addEventListener("unitschange", (event) => {
    event.preventDefault();
    desk.ask({ do: "units", system: event.detail });
  });
}

// The page opens on a telling moment: the faces are already washed, the middle still holds.
function opening(frames) {
  const { minutes, residual } = frames.data;
  const full = residual.indexOf(residual.reduce((most, value) => Math.max(most, value), 0));
  return minutes[residual.findIndex((value, i) => i > full && value < residual[full] * OPENING)] ?? 0;
}

function load({ player, section, frames, layers }, minute) {
  const { mobile, held, water, place } = frames.data;
  const { name, edges, depth, sealed } = layers.data; // one row: arrays of different lengths
  const cuts = Array.from(edges);
  section.load({
    layers: name[0].map((text, i) => ({ name: text, start: cuts[i], stop: cuts[i + 1] })),
    depth: Array.from(depth),
    mobile, held, water, place,
    sealed: sealed[0],
  });
  player.load(frames.data.minutes, minute);
}

function tell({ told }) {
  document.body.dataset.answer = told.answer;
  const met = find("met");
  met.classList.toggle("not", !told.met);
  met.textContent = told.met ? "Target met" : "Target not met";
  find("title").textContent = told.title;
  find("sentence").textContent = told.sentence;
  find("verdict").textContent = told.verdict;
  find("cautions").replaceChildren(...told.cautions.map((text) => make("li", { textContent: text })));
  find("mind").hidden = find("warned").hidden = told.cautions.length === 0;
  find("warned").textContent = `${told.cautions.length} cautions below`;
  find("in-method").value = told.values.method;
  find("undo").disabled = !told.undo;
  find("redo").disabled = !told.redo;
}

function showOrigins(origins) {
  find("origins").replaceChildren(
    ...origins.map(([what, origin]) =>
      make("tr", {}, make("th", { scope: "row", textContent: what }), make("td", { textContent: origin }))),
  );
}

function bindHistory(desk) {
  find("undo").addEventListener("click", () => desk.ask({ do: "undo" }));
  find("redo").addEventListener("click", () => desk.ask({ do: "redo" }));
  document.addEventListener("keydown", (event) => {
    // in a line of text these keys undo typing
    const typing = event.target.closest("input[type=text], input[type=number]");
    if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || typing) return;
    event.preventDefault();
    desk.ask({ do: event.shiftKey ? "redo" : "undo" });
  });
}

function bindMethod(desk) {
  find("in-method").addEventListener("change", (event) => {
    const name = event.target.value;
    if (name) desk.ask({ do: "method", name });
    else event.target.value = desk.values.method;
  });
}

function showMoment({ player, section, frames, curves }) {
  const { place, water, limits } = frames.data;
  section.draw(player.position);
  const i = Math.floor(player.position);
  const minute = player.minute;
  const clock = minutes(minute);
  const known = (key) => digits(valueAt(curves.data.minutes, curves.data[key], minute));
  find("clock").textContent = clock;
  find("place").textContent = place[i];
  find("around").textContent = find("key-water").textContent = digits(water[i]);
  find("now").textContent = known("worst");
  for (const key of ["worst", "typical", "floor"]) find(`key-${key}`).textContent = known(key);
  const limit = limits[i] || "nothing yet: the sheet is taking up fixer";
  if (find("limit").textContent !== limit) find("limit").textContent = limit;
  showScrub(player, `${clock} minutes, ${place[i]}`);
  showShares(frames.data, i);
}

function showShares(data, i) {
  for (const share of document.querySelectorAll("[data-place]")) {
    const percent = data[`in_${share.dataset.place}`][i] * 100;
    find(`part-${share.dataset.place}`).style.flexGrow = percent;
    share.textContent = percentage(percent);
  }
}

function percentage(percent) {
  if (percent === 0) return "0";
  if (percent < 0.01) return "< 0.01";
  return percent.toFixed(percent < 10 ? 2 : 0);
}
