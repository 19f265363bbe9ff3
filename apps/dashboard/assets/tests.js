// The page Tests in the browser: the readings, the ladder, and what was learnt from them.

import { Desk } from "./desk.js";
import { make, makeField, showAll } from "./fields.js";
import { bindUpload, save } from "./files.js";
import { followTheme } from "./residual.js";
import { notify, setState } from "./shell.js";

const LARGEST = 1e6; // bytes
const find = (id) => document.getElementById(id);
const line = (textContent, className = "") => make("p", { textContent, className });
const heading = (textContent) => make("h3", { textContent });

export function start({ board, theme }) {
  const desk = new Desk(board);
  const form = find("have");
  followTheme(theme);
  form.addEventListener("submit", (event) => event.preventDefault());
  bindButtons(desk);
  bindUpload(find("upload"), LARGEST, (file) => desk.ask({ do: "open", ...file }));

  const tell = () => {
    showAll(form, desk);
    find("named").textContent = board.told.title;
    find("log").href = `./log?s=${board.told.state}&${board.told.own}`;
    document.body.dataset.answer = board.told.answer;
  };
  board.properties.shape.change.connect(() => build(desk));
  board.properties.found.change.connect(() => show(board));
  board.properties.work.change.connect(() => show(board));
  desk.addEventListener("told", tell);
  document.addEventListener("unitschange", (event) => {
    event.preventDefault();
    desk.ask({ do: "units", system: event.detail });
  });

  build(desk);
  show(board);
  notify(board.told.error, "error");
  setState(board.told.state, board.told.own);
  tell();
}

function bindButtons(desk) {
  const asks = {
    learn: () => ({ do: "learn" }),
    cancel: () => ({ do: "cancel" }),
    usual: () => ({ do: "usual" }),
    "add-step": () => ({ do: "add", list: "steps" }),
    "drop-step": () => ({ do: "remove", list: "steps", at: desk.board.shape.ladder.steps.length }),
  };
  for (const [id, ask] of Object.entries(asks)) find(id).addEventListener("click", () => desk.ask(ask()));
  for (const button of document.querySelectorAll("[data-kind]")) {
    button.addEventListener("click", () => desk.ask({ do: "add", list: "readings", kind: button.dataset.kind }));
  }
  find("save").addEventListener("click", () => save(desk.board.file.text, desk.board.file.name, "application/toml"));
}

function build(desk) {
  const form = find("have");
  const focused = document.activeElement?.id;
  const open = [...form.querySelectorAll("details[open]")].map((one) => one.dataset.at);
  const { readings, ladder, asks, patches } = desk.board.shape;
  const fields = (list) => list.map((field) => makeField(field, desk));
  find("readings").replaceChildren(...readings.map(({ label, fields: all }, i) => {
    const remove = make("button", { type: "button", id: `remove-${i + 1}`, textContent: "Remove" });
    remove.setAttribute("aria-label", `Remove reading ${label}`);
    remove.addEventListener("click", () => desk.ask({ do: "remove", list: "readings", at: i + 1 }));
    const more = make("details", { dataset: { at: i }, open: open.includes(String(i)) },
      make("summary", { textContent: "More" }),
      make("div", { className: "fields" }, ...fields(all.filter((field) => field.advanced))));
    return make("div", { className: "reading" },
      make("div", { className: "top" }, make("b", { textContent: label }), remove),
      make("div", { className: "fields" }, ...fields(all.filter((field) => !field.advanced))), more);
  }));
  find("ladder").replaceChildren(...fields(ladder.fields));
  find("steps").replaceChildren(...fields(ladder.steps));
  find("asks").replaceChildren(...fields(asks));
  find("patches").replaceChildren(...patches.map(({ colour, label, residual, recipe }) => {
    const patch = make("i");
    patch.style.background = colour;
    return make("li", {}, patch, make("b", { textContent: label }),
      make("span", { textContent: residual }), make("span", { className: "quiet", textContent: recipe }));
  }));
  showAll(form, desk);
  if (focused && !document.activeElement?.closest("#have")) form.querySelector(`#${CSS.escape(focused)}`)?.focus();
}

function show({ found, work }) {
  const working = work.state === "working";
  document.body.dataset.work = work.state;
  find("share").hidden = find("cancel").hidden = !working;
  find("learn").hidden = working;
  find("share").value = work.share;
  const said = {
    working: `Working: ${Math.round(100 * work.share)} %`,
    failed: work.words,
    idle: "Nothing learnt from these readings yet: press Learn.",
    found: found.learnt.sentence ?? "The hatched band is what the tables leave open, before any reading.",
  };
  find("state").textContent = said[work.state];
  find("see").hidden = !found.learnt.sentence;
  showScores(found.scores.rows, found.learnt.after ?? []);
  showLearnt(found.learnt);
  showOwn(found.own);
  find("next").replaceChildren(...(found.next.text ? [heading("The next strip worth taking"), line(found.next.text)] : []));
  showDecisions(found.decisions.lines);
  showExplained(found.explained);
}

function table(columns, rows) {
  return make("table", {},
    make("thead", {}, make("tr", {}, ...columns.map((text) => make("th", { scope: "col", textContent: text })))),
    make("tbody", {}, ...rows.map((cells) => make("tr", {}, ...cells.map((cell) =>
      make("td", {}, cell))))));
}

function showScores(rows, after) {
  const parts = [];
  if (rows.length) {
    parts.push(table(["Read", "Foretold", "Verdict (score)", "As fitted"], rows.map((row, i) => [
      row.seen, row.foretold,
      make("span", { className: `word ${row.word}`, textContent: `${row.word} (${row.score})` }), after[i] ?? "…",
    ])));
  }
  rows.forEach((row, i) => {
    if (row.word !== "disagrees") return;
    if (!row.causes.length) {
      parts.push(line(`Reading ${i + 1} disagrees, and no mishap that was tried leads to it.`, "lead"));
      return;
    }
    parts.push(heading(`Reading ${i + 1} disagrees: look into this before the fit is believed`),
      make("ul", {}, ...row.causes.map((textContent) => make("li", { textContent }))));
  });
  find("scores").replaceChildren(...parts);
}

function showLearnt({ warnings = [], spread, wash = [], numbers = [], others, basis }) {
  if (!basis) {
    find("learnt").replaceChildren();
    return;
  }
  find("learnt").replaceChildren(
    ...warnings.map((text) => line(text, "warning")),
    heading("The wash, middle (5 to 95 % of the draws)"), table(["", "before", "after"], wash),
    line(spread),
    heading("What narrowed or moved"),
    numbers.length ? table(["unknown", "factor on the number used", "spread left"], numbers) : line("Nothing to speak of."),
    line(`${others} ${basis}`, "quiet"));
}

function showOwn({ state }) {
  if (!state) {
    find("own").replaceChildren();
    return;
  }
  const link = (textContent, href) => make("a", { className: "button", textContent, href: `${href}?s=${state}` });
  find("own").replaceChildren(heading("Use it: this scenario with its paper as learnt"),
    make("p", { className: "acts" }, link("Open in Explore", "./"), link("Plan tonight with it", "./tonight"),
      link("Keep it as TOML", "./scenario.toml")));
}

function showDecisions(lines) {
  find("decisions").replaceChildren(...(lines.length
    ? [heading("The patch stains: in this order"), make("ol", {}, ...lines.map(([text, why]) =>
      make("li", {}, make("b", { textContent: text }), " ", make("span", { className: "quiet", textContent: why }))))]
    : []));
}

function showExplained({ verdict, shares = [], plan }) {
  if (!verdict) {
    find("explained").replaceChildren();
    return;
  }
  const listed = shares.map(([name, share]) => `${name} ${share}`).join(", ");
  find("explained").replaceChildren(heading("Which explanation"), line(verdict, "lead"),
    ...(listed ? [line(`Share of the evidence: ${listed}.`, "quiet")] : []), ...(plan ? [line(plan)] : []));
}
