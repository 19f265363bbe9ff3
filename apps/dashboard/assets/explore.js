// The Explore page in the browser. The server ships a run once (frames, curves, words); from then
// on this file moves the picture, the marker and the readouts from one clock.

import { Controls } from "./controls.js";
import { CrossSection } from "./cross_section.js";
import { Desk } from "./desk.js";
import { digits, minutes } from "./digits.js";
import { make } from "./fields.js";
import { bindFirst } from "./first.js";
import { unpack } from "./frames.js";
import { bindKeep } from "./keep.js";
import { Player } from "./player.js";
import { notify, onTheme, setState } from "./shell.js";
import { Schedule } from "./schedule.js";
import { followClock, followTheme, moveTarget, valueAt } from "./residual.js";
import { bindKeys, bindTransport, showScrub } from "./transport.js";

const OPENING = 0.5; // share of the load still in the sheet
const PLACES = [...document.querySelectorAll("[data-place]")].map((one) => one.dataset.place);
const LAYERS = ["emulsion", "baryta", "base", "other"];
const find = (id) => document.getElementById(id);

export function start({ board, frames, layers, curves, residual, target, water, theme, palette }) {
  const player = new Player();
  const section = new CrossSection(find("section"), palette);
  const desk = new Desk(board);
  const controls = new Controls(find("inputs"), desk);
  const schedule = new Schedule(find("editor"), desk);
  for (const [figure, marker] of [residual, water]) followClock(player, figure, marker);
  followTheme(theme);
  onTheme(() => section.resize());

  const page = { board, player, section, frames, layers, curves };
  unpackFrames(page);
  player.addEventListener("time", () => showMoment(page));
  bindTransport(player);
  find("section").addEventListener("click", () => player.toggle());
  bindKeys(player);

  bindHistory(desk);
  bindKeep(desk, { section, residual: residual[0], water: water[0] });
  bindMethod(desk);
  bindFirst(desk);

  load(page, opening(page.run));
  tell(desk);
  showOrigins(board.shape.origins);
  notify(board.told.error, "error");
  setState(board.told.state);
  board.properties.shape.change.connect(() => {
    controls.build();
    schedule.build();
    showOrigins(board.shape.origins);
  });
  for (const name of ["help", "sure"]) {
    const show = () => { find(name).textContent = board[name] || "…"; };
    show();
    board.properties[name].change.connect(show);
  }
  desk.addEventListener("told", () => {
    if (!board.told.error) {
      unpackFrames(page);
      load(page, player.minute);
      moveTarget(target, board.told.target);
    }
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
function opening({ minutes, residual }) {
  const full = residual.indexOf(residual.reduce((most, value) => Math.max(most, value), 0));
  return minutes[residual.findIndex((value, i) => i > full && value < residual[full] * OPENING)] ?? 0;
}

function unpackFrames(page) {
  const { numbers, place, limits } = page.frames.data;
  const depths = page.layers.data.depth.length;
  page.run = { place, limits, ...unpack(numbers, PLACES, depths) };
}

function load({ player, section, run, layers }, minute) {
  const { mobile, held, water, place } = run;
  const { name, edges, depth, sealed } = layers.data; // one row: arrays of different lengths
  const cuts = Array.from(edges);
  section.load({
    layers: name[0].map((text, i) => ({ name: text, start: cuts[i], stop: cuts[i + 1] })),
    depth: Array.from(depth),
    mobile, held, water, place,
    sealed: sealed[0],
  });
  // a layer that this paper has not got is no place for fixer
  for (const layer of LAYERS) find(`row-${layer}`).hidden = !run[`in_${layer}`].some((share) => share > 0);
  player.load(run.minutes, minute);
}

function tell({ told }) {
  document.body.dataset.answer = told.answer;
  const met = find("met");
  met.classList.toggle("not", !told.met);
  met.textContent = told.met ? "Target met" : "Target not met";
  find("title").textContent = told.title;
  find("sentence").textContent = told.sentence;
  find("verdict").textContent = told.verdict;
  showCautions(told.cautions);
  find("in-method").value = told.values.method;
  find("undo").disabled = !told.undo;
  find("redo").disabled = !told.redo;
}

function showCautions(cautions) {
  const list = find("cautions");
  if (list.dataset.shown === cautions.join("\n")) return;
  list.dataset.shown = cautions.join("\n");
  list.replaceChildren(...cautions.map((text) => make("li", { textContent: text })));
  find("mind").hidden = find("warned").hidden = cautions.length === 0;
  find("warned").textContent = `${cautions.length} cautions below`;
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

function showMoment({ board, player, section, run, curves }) {
  const { place, water, limits } = run;
  section.draw(player.position);
  const i = Math.floor(player.position);
  const minute = player.minute;
  const clock = minutes(minute);
  const known = (key) => digits(valueAt(curves.data.minutes, curves.data[key], minute));
  find("clock").textContent = clock;
  find("place").textContent = place[i];
  find("around").textContent = find("key-water").textContent = digits(water[i]);
  find("now").textContent = known("worst");
  find("wet").textContent = minutes(Math.max(0, minute - board.told.wet_from));
  for (const key of ["worst", "typical", "floor"]) find(`key-${key}`).textContent = known(key);
  const limit = limits[i] || "nothing yet: the sheet is taking up fixer";
  if (find("limit").textContent !== limit) find("limit").textContent = limit;
  showScrub(player, `${clock} minutes, ${place[i]}`);
  showShares(run, i);
}

function showShares(run, i) {
  for (const name of PLACES) {
    const percent = run[`in_${name}`][i] * 100;
    find(`part-${name}`).style.flexGrow = percent;
    find(`share-${name}`).textContent = percentage(percent);
  }
}

function percentage(percent) {
  if (percent === 0) return "0";
  if (percent < 0.01) return "< 0.01";
  return percent.toFixed(percent < 10 ? 2 : 0);
}
