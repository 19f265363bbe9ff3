// The Class page in the browser: predict, observe, explain. Frozen as the first sheet leaves the
// fixer until a prediction is chosen; then it plays, and the curve shows no more than has happened;
// at the end, or when asked, come the whole curve and the answer in words.

import { Arms } from "./arms.js";
import { minutes } from "./digits.js";
import { Player } from "./player.js";
import { followClock, followTheme, moveTarget } from "./residual.js";
import { notify, onTheme, setState, waiting } from "./shell.js";
import { bindKeys, bindTransport, showScrub } from "./transport.js";

const LARGE = 24; // px of words in the pictures, on a projector
const HERE_ONLY = { sync: false };
const find = (id) => document.getElementById(id);
const stage = () => document.querySelector("main").dataset;

// A clock that can be stopped for good: while it is held nothing moves it.
class HeldPlayer extends Player {
  held = null;
  hold(position) {
    this.pause();
    this.held = null;
    this.seek(position);
    this.held = this.position;
  }
  seek(position) {
    super.seek(this.held ?? position);
  }
  play() {
    if (this.held === null) super.play();
  }
}

export function start({ board, films, figure, marker, target, theme, palette, cover, questions }) {
  const player = new HeldPlayer();
  const phone = window.innerWidth < 900;
  const point = parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--px"));
  const boxes = [...document.querySelectorAll(".arm")];
  const arms = new Arms(boxes, palette, phone ? 16 : LARGE * point);
  followClock(player, figure, marker);
  followTheme(theme);
  sizeWords(figure, target.at(-1), phone ? 20 : LARGE * point);
  onTheme(() => arms.redraw());

  const freeze = () => {
    stage().stage = "predict";
    cover.setv({ visible: true }, HERE_ONLY);
    player.hold(player.positionAt(board.told.fixed));
    for (const button of document.querySelectorAll(".choice")) {
      button.setAttribute("aria-pressed", "false");
    }
  };
  const predict = (choice) => {
    const button = document.querySelector(`.choice[data-choice="${choice}"]`);
    if (stage().stage !== "predict" || button.hidden) return;
    button.setAttribute("aria-pressed", "true");
    find("said").textContent = `Predicted: ${choice}${choice.length === 1 ? " first" : ""}.`;
    stage().stage = "watch";
    player.held = null;
    player.play();
  };
  const explain = () => {
    if (stage().stage !== "watch") return;
    stage().stage = "explain";
    cover.setv({ visible: false }, HERE_ONLY);
  };
  let turned = 0; // the same page twice is two messages
  const turn = (by) => {
    const at = Math.max(0, questions.indexOf(board.told.name));
    const question = questions[(at + by + questions.length) % questions.length];
    waiting(true);
    turned += 1;
    board.asked = { question, number: turned };
  };

  player.addEventListener("time", () => {
    arms.show(player.minute);
    find("clock").textContent = minutes(player.minute);
    showScrub(player, `${minutes(player.minute)} minutes`);
    cover.setv({ left: player.minute }, HERE_ONLY);
    if (player.position >= player.last) explain();
  });
  bind(player, { freeze, predict, explain, turn });

  const tell = () => {
    const { told } = board;
    waiting(false);
    notify(told.error, "error");
    if (!told.error || told.answer === 0) {
      arms.load(told, films);
      moveTarget(target, told.target);
      player.held = null;
      player.load(told.clock, 0);
      freeze();
      say(told, questions);
    }
    document.body.dataset.answer = told.answer;
  };
  tell();
  board.properties.told.change.connect(tell);
}

// the words of the chart as large as the screen has room for
function sizeWords(figure, name, font) {
  const size = `${font}px`;
  const words = { axis_label_text_font_size: size, major_label_text_font_size: size };
  for (const axis of [...figure.below, ...figure.left]) axis.setv(words, HERE_ONLY);
  name.setv({ text_font_size: size }, HERE_ONLY);
}

function say(told, questions) {
  setState(told.state, told.ways.length ? `ways=${told.ways.join(",")}` : `question=${told.name}`);
  find("asks").textContent = told.asks;
  find("race").textContent = told.race;
  find("claim").textContent = told.claim;
  const at = questions.indexOf(told.name);
  find("number").textContent = at < 0 ? "" : `${at + 1} of ${questions.length}`;
  const letters = told.arms.map(({ letter }) => letter);
  for (const button of document.querySelectorAll(".choice")) {
    const { choice } = button.dataset;
    button.hidden = choice.length === 1 && !letters.includes(choice);
  }
}

function bind(player, { freeze, predict, explain, turn }) {
  bindTransport(player);
  for (const button of document.querySelectorAll(".choice")) {
    button.addEventListener("click", () => predict(button.dataset.choice));
  }
  find("again").addEventListener("click", freeze);
  find("reveal").addEventListener("click", explain);
  find("previous").addEventListener("click", () => turn(-1));
  find("next").addEventListener("click", () => turn(1));
  const keys = {
    r: freeze,
    s: () => predict("all alike"),
    PageUp: () => turn(-1),
    PageDown: () => turn(1),
  };
  for (const letter of "ABCD") keys[letter.toLowerCase()] = () => predict(letter);
  for (const key of Object.keys(keys)) if (key.length === 1) keys[key.toUpperCase()] = keys[key];
  bindKeys(player, keys);
}
