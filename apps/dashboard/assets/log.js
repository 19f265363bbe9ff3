// The page Log in the browser: tonight's entry, the evenings, and some of them side by side.

import { Desk } from "./desk.js";
import { make, makeField, showAll } from "./fields.js";
import { bindUpload, save } from "./files.js";
import { notify, setState } from "./shell.js";

const LARGEST = 1e7; // bytes, below what one message to the server may hold
const find = (id) => document.getElementById(id);
const said = (pairs) => pairs.flatMap(([label, text]) => [
  make("dt", { textContent: label }), make("dd", { textContent: text })]);

export function start({ board }) {
  const desk = new Desk(board);
  const form = find("have");
  form.addEventListener("submit", (event) => event.preventDefault());
  for (const what of ["save", "look", "export", "cancel"]) find(what).addEventListener("click", () => desk.ask({ do: what }));
  find("compare").addEventListener("click", () => desk.ask({ do: "compare", names: ticked() }));
  bindUpload(find("upload"), LARGEST, (file) => desk.ask({ do: "import", ...file }));

  const tell = () => {
    showAll(form, desk);
    find("tonight").replaceChildren(...said(board.told.tonight));
    find("correcting").hidden = !board.told.values.replaces;
    document.body.dataset.answer = board.told.answer;
  };
  board.properties.shape.change.connect(() => build(desk));
  board.properties.book.change.connect(() => showBook(desk));
  board.properties.compared.change.connect(() => showCompared(board.compared));
  board.properties.work.change.connect(() => showWork(board.work));
  board.properties.file.change.connect(() => keep(board.file));
  desk.addEventListener("told", tell);
  document.addEventListener("unitschange", (event) => {
    event.preventDefault();
    desk.ask({ do: "units", system: event.detail });
  });

  build(desk);
  showBook(desk);
  showWork(board.work);
  notify(board.told.error, "error");
  setState(board.told.state, board.told.own);
  tell();
}

function build(desk) {
  const focused = document.activeElement?.id;
  find("fields").replaceChildren(...desk.board.shape.map((field) => makeField(field, desk)));
  showAll(find("have"), desk);
  if (focused) find("have").querySelector(`#${CSS.escape(focused)}`)?.focus();
}

const ticked = () => [...find("evenings").querySelectorAll("input:checked")].map((one) => one.value);

function showBook(desk) {
  const { folder, rows, faults } = desk.board.book;
  const kept = ticked();
  find("folder").textContent = folder;
  find("faults").replaceChildren(...faults.map((text) =>
    make("p", { className: "fault", textContent: `Left as it is: ${text}` })));
  find("evenings").replaceChildren(...rows.map((row) => evening(row, desk, kept.includes(row.name))));
  if (!rows.length) find("evenings").replaceChildren(make("li", { textContent: "No evenings here yet." }));
  ready();
}

function evening({ name, date, title, verdict, lines, explore, tests }, desk, checked) {
  const tick = make("input", { type: "checkbox", value: name, checked });
  tick.addEventListener("change", ready);
  const correct = make("button", { type: "button", textContent: "Correct" });
  correct.setAttribute("aria-label", `Correct ${date} ${title}`);
  correct.addEventListener("click", () => desk.ask({ do: "correct", name }));
  return make("li", {},
    make("div", { className: "top" },
      make("label", {}, tick, `${date} ${title}`), make("span", { className: "verdict", textContent: verdict })),
    make("dl", {}, ...said(lines)),
    make("div", { className: "acts" },
      make("a", { className: "button", href: explore, textContent: "Open in Explore" }),
      make("a", { className: "button", href: tests, textContent: "Open in Tests" }), correct));
}

function ready() {
  find("compare").disabled = ticked().length < 2;
}

function showCompared({ columns = [], rows = [] }) {
  const box = find("compared");
  box.hidden = !rows.length;
  box.replaceChildren(make("table", {},
    make("thead", {}, make("tr", {}, make("td"), ...columns.map((text) => make("th", { scope: "col", textContent: text })))),
    make("tbody", {}, ...rows.map(([label, ...cells]) => make("tr", {},
      make("th", { scope: "row", textContent: label }), ...cells.map((text) => make("td", { textContent: text })))))));
}

function showWork({ state, share, words }) {
  const working = state === "working";
  document.body.dataset.work = state;
  find("share").hidden = find("cancel").hidden = !working;
  find("share").value = share;
  find("save").disabled = working;
  find("state").textContent = { working: `Working: ${Math.round(100 * share)} %`, found: "Done." }[state] ?? words;
}

function keep({ text, left_out }) {
  save(text, "washsim-log.toml", "application/toml");
  if (left_out.length) notify(`Left out: ${left_out.join(" ")}`);
}
