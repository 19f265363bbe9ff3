// The Compare page in the browser: which question, one clock, the words and tables that go with it.

import { Arms } from "./arms.js";
import { minutes } from "./digits.js";
import { Player } from "./player.js";
import { followClock, followTheme, moveTarget } from "./residual.js";
import { notify, onTheme, setState, waiting } from "./shell.js";
import { bindKeys, bindTransport, showScrub } from "./transport.js";

const OPENING = 0.35; // share of the run at which the page opens: the schedules have parted
const find = (id) => document.getElementById(id);
const picks = () => [...find("ways").querySelectorAll("select")];

export function start({ board, films, figure, marker, target, theme, palette }) {
  const player = new Player();
  const arms = new Arms([...document.querySelectorAll(".arm")], palette, 13);
  followClock(player, figure, marker);
  followTheme(theme);
  onTheme(() => arms.redraw());
  player.addEventListener("time", () => {
    const clock = minutes(player.minute);
    arms.show(player.minute);
    find("clock").textContent = clock;
    showScrub(player, `${clock} minutes`);
  });
  bindTransport(player);
  bindKeys(player);
  let awaited = 0; // answers on their way
  let number = 0; // the same wish twice is two messages
  bindQuestion((wish) => {
    awaited += 1;
    number += 1;
    waiting(true);
    board.asked = { ...wish, number };
  });

  const tell = () => {
    const { told } = board;
    awaited = Math.max(0, awaited - 1);
    waiting(awaited > 0);
    notify(told.error, "error");
    if (!told.error || told.answer === 0) {
      arms.load(told, films);
      moveTarget(target, told.target);
      player.load(told.clock, told.clock.at(-1) * OPENING);
      say(board);
    }
    // a visitor who chooses on is not set back to what was chosen before
    if (!awaited) showChoice(told);
    document.body.dataset.answer = told.answer;
  };
  tell();
  board.properties.told.change.connect(tell);
  // how sure it is follows once it is worked out
  board.properties.doubts.change.connect(() => { if (!awaited) fillTable(board); });
}

function showChoice(told) {
  const own = told.name === "own";
  find("question").value = told.name;
  find("ways").hidden = !own;
  find("batch").textContent = told.batch;
  if (own) picks().forEach((pick, i) => { pick.value = told.ways[i] ?? ""; });
  setState(told.state, own ? `ways=${told.ways.join(",")}` : `question=${told.name}`);
}

function say(board) {
  const { told } = board;
  find("asks").textContent = told.asks;
  find("verdict").textContent = told.verdict;
  find("claim").textContent = told.claim;
  fillTable(board);
}

function fillTable({ told, doubts }) {
  fill(find("rows"), told.arms, [
    ["What came of it", told.outcomes],
    ["How sure: draws of the unmeasured", doubts.length ? doubts : told.doubts],
    ["What differs", told.differences],
  ]);
}

// Rows of words under the letters A to D.
function fill(table, arms, groups) {
  const cell = (kind, text, scope) => {
    const made = document.createElement(kind);
    made.textContent = text;
    if (scope) made.scope = scope;
    return made;
  };
  const head = document.createElement("tr");
  head.append(cell("td", ""), ...arms.map(({ letter }) => cell("th", letter, "col")));
  const rows = groups.flatMap(([group, lines]) => {
    const title = document.createElement("tr");
    const name = cell("th", group, "colgroup");
    name.colSpan = arms.length + 1;
    title.append(name);
    title.className = "group";
    return [title, ...lines.map((line) => {
      const row = document.createElement("tr");
      const what = cell("th", line.what, "row");
      what.title = line.meaning;
      row.append(what, ...line.values.map((text) => cell("td", text)));
      return row;
    })];
  });
  table.replaceChildren(head, ...rows);
}

// A question that comes along, or ways of washing that the visitor picks.
function bindQuestion(send) {
  const question = find("question");
  const ask = () => {
    const ways = picks().map((pick) => pick.value).filter((name) => name);
    const own = question.value === "own";
    send(own ? { ways } : { question: question.value });
  };
  question.addEventListener("change", ask);
  for (const pick of picks()) pick.addEventListener("change", ask);
  find("ways").addEventListener("submit", (event) => event.preventDefault());
}
