// A lesson in the browser: predict, watch, explain. The page holds no answer until a prediction is
// sent; then the runs come once and play from one clock.

import { CrossSection } from "./cross_section.js";
import { digits, minutes } from "./digits.js";
import { Pencil } from "./pencil.js";
import { Player } from "./player.js";
import { Plot, at } from "./plot.js";
import { notify, onTheme, waiting } from "./shell.js";
import { bindKeys, bindTransport, showScrub } from "./transport.js";
import { showVerdict } from "./verdict.js";

const LARGE = 24; // px, for the last row of a classroom
const find = (id) => document.getElementById(id);
const ask = JSON.parse(find("asking").textContent);
const stage = document.querySelector("main");
// marks this visit, so that a second prediction replaces the first; says nothing about the visitor
const voter = Math.random().toString(36).slice(2);
const isLarge = () => document.documentElement.hasAttribute("data-large");

const lesson = { player: new Player(), told: null, predicted: null, shown: 0 };

function start() {
  bindLarge();
  const form = { number: bindNumber, choice: bindChoice, curve: bindCurve }[ask.kind]();
  find("ask").addEventListener("submit", (event) => {
    event.preventDefault();
    if (!find("commit").disabled) commit(form());
  });
  find("reveal").addEventListener("click", explain);
  find("again").addEventListener("click", () => window.location.reload());
}

// --- predict: each returns how to read the prediction ---

function bindNumber() {
  const [guess, exact] = [find("guess"), find("exact")];
  const log = ask.scale === "log";
  const value = (share) => (log ? ask.low * (ask.high / ask.low) ** share : ask.low + (ask.high - ask.low) * share);
  const share = (found) => (log ? Math.log(found / ask.low) / Math.log(ask.high / ask.low) : (found - ask.low) / (ask.high - ask.low));
  const rounded = (found) => {
    const steps = log ? Number(found.toPrecision(2)) : found;
    return Number((Math.round(steps / ask.step) * ask.step).toPrecision(8));
  };
  const known = () => {
    const found = exact.valueAsNumber;
    const fits = Number.isFinite(found) && found >= ask.low && found <= ask.high;
    find("commit").disabled = !fits;
    exact.setAttribute("aria-invalid", String(exact.value !== "" && !fits));
    find("hint").textContent = exact.value !== "" && !fits
      ? `Between ${ask.low} and ${ask.high} ${ask.unit}.`
      : "Nothing is shown before you have predicted.";
    if (!fits) return;
    guess.value = 1000 * share(found);
    fill();
  };
  const fill = () => {
    guess.style.setProperty("--filled", `${guess.value / 10}%`);
    guess.setAttribute("aria-valuetext", `${exact.value || "nothing said"} ${ask.unit}`);
  };
  guess.addEventListener("input", () => {
    exact.value = rounded(value(guess.valueAsNumber / 1000));
    find("commit").disabled = false;
    fill();
  });
  exact.addEventListener("input", known);
  fill();
  return () => exact.valueAsNumber;
}

function bindChoice() {
  const chosen = () => document.querySelector("input[name=choice]:checked");
  find("ask").addEventListener("change", () => {
    find("commit").disabled = !chosen();
  });
  return () => Number(chosen().value);
}

function bindCurve() {
  const pencil = new Pencil(find("paper"), ask, (enough) => {
    find("commit").disabled = !enough;
  });
  find("wipe").addEventListener("click", () => pencil.wipe());
  return () => pencil.points;
}

async function commit(predicted) {
  waiting(true);
  find("commit").disabled = true;
  try {
    const answer = await fetch("learn/answer", {
      method: "POST",
      body: JSON.stringify({ lesson: ask.lesson, voter, predicted }),
    });
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.error);
    lesson.predicted = predicted;
    observe(told);
  } catch (error) {
    find("commit").disabled = false;
    notify(error instanceof TypeError ? "The server does not answer; try again." : error.message, "error");
  } finally {
    waiting(false);
  }
}

// --- observe ---

function observe(told) {
  lesson.told = told;
  stage.dataset.stage = "observe";
  document.querySelector(".observe").hidden = false;
  for (const field of document.querySelectorAll("#ask input, #ask button")) field.disabled = true;
  find("said").textContent = told.said.split(". ")[0].replace(/\.?$/, ".");
  const { player } = lesson;
  lesson.lines = told.runs.map((run) => ({
    minutes: run.minutes, values: run.residual, letter: run.letter, style: `run-${run.letter.toLowerCase()}`,
  }));
  lesson.clocks = told.runs.map((run) => {
    const own = new Player();
    own.load(run.film.minutes, 0);
    return own;
  });
  lesson.chart = new Plot(find("chart"), told.axis, { label: `Fixer left against minutes: ${told.runs.map((run) => `${run.letter}, ${run.title}`).join("; ")}` });
  const drawn = ask.kind === "curve" ? lesson.predicted : [];
  lesson.chart.show({ lines: lesson.lines, target: told.target, visible: told.visible, drawn });
  lesson.section = new CrossSection(find("section"), ask.palette, { plain: isLarge(), font: isLarge() ? LARGE : 0 });
  fillTabs();
  fillKey();
  onTheme(() => lesson.section.resize());
  bindTransport(player);
  bindKeys(player, { e: explain, l: toggleLarge });
  player.addEventListener("time", showMoment);
  pick(0);
  player.load(told.clock, told.clock[0]);
  document.querySelector(".observe").scrollIntoView({ block: "start" });
  find("play").focus({ preventScroll: true });
  if (!window.matchMedia("(prefers-reduced-motion: reduce)").matches) player.play();
}

function fillTabs() {
  find("tabs").replaceChildren(
    ...lesson.told.runs.map((run, i) => {
      const label = document.createElement("label");
      const input = Object.assign(document.createElement("input"), { type: "radio", name: "run", value: i });
      input.checked = i === 0;
      input.addEventListener("change", () => pick(i));
      const text = document.createElement("span");
      text.append(Object.assign(document.createElement("b"), { textContent: run.letter }), ` ${run.title}`);
      label.append(input, text);
      return label;
    }),
  );
}

const sample = (style) => `<svg viewBox="0 0 44 8" aria-hidden="true"><path class="curve ${style}" d="M0 4h44"/></svg>`;

function fillKey() {
  const rows = lesson.told.runs.map((run) => {
    const row = document.createElement("li");
    row.innerHTML = `${sample(`run-${run.letter.toLowerCase()}`)}<span></span>`;
    row.lastChild.textContent = run.letter;
    row.append(document.createElement("b"));
    return row;
  });
  if (ask.kind === "curve") {
    const own = document.createElement("li");
    own.innerHTML = `${sample("guess")}<span>your curve</span>`;
    rows.push(own);
  }
  find("key").replaceChildren(...rows);
}

function pick(i) {
  lesson.shown = i;
  const { film, layers, depth, sealed } = lesson.told.runs[i];
  lesson.section.load({ ...film, layers, depth, sealed });
  if (lesson.player.last) showMoment();
}

function showMoment() {
  const { player, told, shown } = lesson;
  const minute = player.minute;
  const own = lesson.clocks[shown];
  own.seek(own.positionAt(minute));
  lesson.section.draw(own.position);
  const run = told.runs[shown];
  find("clock").textContent = minutes(minute);
  find("now").textContent = digits(at(lesson.lines[shown], minute));
  find("place").textContent = minute > run.end + 0.01 ? "finished" : run.film.place[Math.floor(own.position)];
  showScrub(player, `${minutes(minute)} minutes`);
  const over = player.position >= player.last || stage.dataset.stage === "explain";
  lesson.chart.reveal(over && !player.playing && player.position >= player.last ? Infinity : minute);
  [...find("key").children].slice(0, told.runs.length).forEach((row, i) => {
    row.lastChild.textContent = digits(at(lesson.lines[i], minute));
  });
}

// --- explain ---

function explain() {
  if (!lesson.told || stage.dataset.stage === "explain") return;
  const { told, player } = lesson;
  stage.dataset.stage = "explain";
  player.pause();
  player.seek(player.last);
  document.querySelector(".explain").hidden = false;
  find("reveal").hidden = true;
  find("said").textContent = find("told").textContent = told.said;
  find("why").textContent = told.explain;
  if (find("measures")) find("measures").textContent = told.measures && `In US measures: ${told.measures}.`;
  find("figures").replaceChildren(
    ...told.figures.map(([label, words]) => {
      const row = document.createElement("tr");
      row.append(Object.assign(document.createElement("th"), { scope: "row", textContent: label }));
      row.append(Object.assign(document.createElement("td"), { textContent: words }));
      return row;
    }),
  );
  find("follow").replaceChildren(
    ...told.follow.map((text) => Object.assign(document.createElement("li"), { textContent: text })),
  );
  const verdict = () => showVerdict(find("scale"), ask, told, lesson.predicted, []);
  verdict();
  new ResizeObserver(verdict).observe(stage);
  document.querySelector(".explain").scrollIntoView({ block: "start" });
}

// --- large type ---

function bindLarge() {
  setLarge(new URLSearchParams(window.location.search).has("large"));
  find("large").addEventListener("click", toggleLarge);
}

function toggleLarge() {
  setLarge(!isLarge());
  const url = new URL(window.location);
  if (isLarge()) url.searchParams.set("large", "1");
  else url.searchParams.delete("large");
  window.history.replaceState(null, "", url);
}

function setLarge(is) {
  document.documentElement.toggleAttribute("data-large", is);
  find("large").setAttribute("aria-pressed", String(is));
  for (const link of document.querySelectorAll("a[data-large]")) {
    const url = new URL(link.href);
    if (is) url.searchParams.set("large", "1");
    else url.searchParams.delete("large");
    link.href = url;
  }
  if (!lesson.section) return;
  // large words leave no room for scales in the picture: they stand below it
  lesson.section.plain = is;
  lesson.section.ownFont = is ? LARGE : 0;
  lesson.section.resize();
  lesson.chart.draw();
}

start();
