// The page Tonight in the browser: the form, the front, the plan shown, its wall sheet and its run.

import { Desk } from "./desk.js";
import { make, makeField } from "./fields.js";
import { save } from "./files.js";
import { Front } from "./front.js";
import { Ribbon } from "./ribbon.js";
import { Run, keep, recall } from "./run_state.js";
import { notify, onTheme, setState } from "./shell.js";

const find = (id) => document.getElementById(id);

export function start({ board, palette, kinds }) {
  const desk = new Desk(board);
  const page = {
    board,
    desk,
    form: new Form(desk),
    front: new Front(find("front"), (index) => desk.ask({ do: "choose", index })),
    ribbon: new Ribbon(find("ribbon"), palette, kinds),
  };
  page.ribbon.scale(find("scale"));
  onTheme(() => page.ribbon.paint());
  bindSearch(desk);
  bindSheet(board);
  bindRun(board);

  board.properties.shape.change.connect(() => page.form.build());
  board.properties.front.change.connect(() => showFront(page));
  board.properties.detail.change.connect(() => {
    showDetail(page);
    showFront(page);
  });
  board.properties.work.change.connect(() => showWork(board));
  desk.addEventListener("told", () => {
    page.form.show();
    document.body.dataset.answer = board.told.answer;
  });
  document.addEventListener("unitschange", (event) => {
    event.preventDefault();
    desk.ask({ do: "units", system: event.detail });
  });

  page.form.show();
  showDetail(page);
  showFront(page);
  showWork(board);
  notify(board.told.error, "error");
  setState(board.told.state);
  document.body.dataset.answer = board.told.answer;
}

class Form {
  constructor(desk) {
    this.desk = desk;
    this.form = find("have");
    this.form.addEventListener("submit", (event) => event.preventDefault());
    this.form.addEventListener("focusout", () => this.show());
    // the meaning of the field in hand, in one line for all
    this.form.dataset.group = "";
    for (const list of ["late", "vessels"]) {
      find(`add-${list}`).addEventListener("click", () => {
        desk.ask({ do: "add", list, at: desk.board.shape[list].length });
      });
    }
    this.build();
  }

  build() {
    const focused = document.activeElement?.id;
    const { groups, wishes, ...lists } = this.desk.board.shape;
    find("wishes").replaceChildren(...wishes.map((field) => makeField(field, this.desk)));
    find("groups").replaceChildren(...groups.flatMap(({ label, fields }) => [
      make("h3", { textContent: label }),
      make("div", { className: "fields" }, ...fields.map((field) => makeField(field, this.desk))),
    ]));
    for (const [list, items] of Object.entries(lists)) {
      find(list).replaceChildren(...items.map((item, i) => this.item(list, item, i + 1)));
    }
    this.show();
    if (focused && this.form.contains(document.getElementById(focused))) document.getElementById(focused).focus();
  }

  item(list, { label, fields }, at) {
    const remove = make("button", { type: "button", id: `remove-${list}-${at}`, textContent: "Remove" });
    remove.setAttribute("aria-label", `Remove ${label}`);
    remove.addEventListener("click", () => this.desk.ask({ do: "remove", list, at }));
    return make("div", { className: `item ${list}` },
      make("div", { className: "top" }, make("b", { textContent: label }), remove),
      make("div", { className: "fields" }, ...fields.map((field) => makeField(field, this.desk))));
  }

  show() {
    const { values, error } = this.desk.told;
    for (const box of this.form.querySelectorAll("[data-path]")) {
      const inHand = error && box.contains(document.activeElement);
      if (!inHand && !this.desk.pending(box.dataset.path)) box.show(values[box.dataset.path]);
    }
  }
}

function bindSearch(desk) {
  find("seek").addEventListener("click", () => desk.ask({ do: "plan" }));
  find("cancel").addEventListener("click", () => desk.ask({ do: "cancel" }));
}

function showWork(board) {
  const { state, share } = board.work;
  const working = state === "working";
  document.body.dataset.work = state;
  find("share").hidden = find("cancel").hidden = !working;
  find("seek").hidden = working;
  find("share").value = share;
  if (state === "found" || state === "failed") {
    find("choices").classList.remove("coming");
    for (const id of ["choices", "lines"]) find(id).style.minHeight = "";
  }
  tellFound(board);
}

// What came of the search; plans asked for once more stay told of.
function tellFound({ work: { state, share, words }, front }) {
  const told = {
    working: `Looking for plans: ${Math.round(100 * share)} %`,
    failed: words,
  };
  find("found").textContent = told[state] || front.sentence || "No plans yet for what is at hand: press Find plans.";
}

function showFront({ board, front, desk }) {
  const { front: data, detail } = board;
  front.load(data, detail.chosen);
  tellFound(board);
  const focused = document.activeElement?.name === "plan";
  const plans = [...data.plans.map((plan, i) => [i, plan]), [-1, data.own]];
  const choices = plans.map(([index, plan]) => {
    const input = make("input", { type: "radio", name: "plan", value: index, checked: index === detail.chosen });
    input.addEventListener("change", () => desk.ask({ do: "choose", index }));
    return make("label", {}, input,
      make("span", { textContent: index < 0 ? "◇" : index + 1 }),
      make("b", { textContent: plan.amount }),
      make("b", { textContent: plan.time }),
      make("span", { className: "chance", textContent: plan.chance }),
      make("span", { className: "words", textContent: index < 0 ? `yours: ${plan.words}` : plan.words }));
  });
  hold("choices", data);
  find("choices").replaceChildren(...choices);
  if (focused) find("choices").querySelector("input:checked")?.focus();
}

// Until new plans are found what told of them keeps its height, and what is below its place.
function hold(id, { plans }) {
  const element = find(id);
  element.style.minHeight = plans.length ? "" : `${element.offsetHeight}px`;
}

function showDetail({ board, ribbon }) {
  const { detail } = board;
  find("which").textContent = detail.chosen < 0 ? "Your own schedule" : `Plan ${detail.chosen + 1}`;
  const lines = [...detail.lines, ...detail.notes];
  hold("lines", board.front);
  find("lines").replaceChildren(...lines.map((text) => make("p", { textContent: text })));
  find("span").textContent = detail.span;
  find("explore").href = `./?s=${detail.state}`;
  find("press").hidden = !detail.press;
  find("press").textContent = detail.press;
  find("cautions").replaceChildren(...detail.cautions.map((text) => make("li", { textContent: text })));
  const { columns, rows, notes } = detail.ledger;
  find("ledger-head").replaceChildren(make("tr", {}, ...["per", ...columns].map((text) => make("th", { scope: "col", textContent: text }))));
  find("ledger").replaceChildren(...rows.map(([label, ...cells]) =>
    make("tr", {}, make("th", { scope: "row", textContent: label }), ...cells.map((text) => make("td", { textContent: text })))));
  find("ledger-notes").replaceChildren(...notes.map((text) => make("p", { textContent: text })));
  ribbon.load(detail.ribbon);
  showGoing();
}

function showGoing() {
  const run = recall();
  find("going").hidden = !run || run.started === null || run.over;
}

function bindSheet(board) {
  const dialog = find("paper"), preview = find("preview");
  find("sheet").addEventListener("click", () => {
    find("paper-title").textContent = `Wall sheet, ${board.detail.sheet.pages}`;
    preview.srcdoc = board.detail.sheet.html;
    dialog.showModal();
  });
  find("shut").addEventListener("click", () => dialog.close());
  find("print").addEventListener("click", () => preview.contentWindow.print());
  const keepAs = (what, ending, kind) => {
    const { sheet } = board.detail;
    save(sheet[what], `${sheet.name}.${ending}`, kind);
  };
  find("save-html").addEventListener("click", () => keepAs("html", "html", "text/html"));
  find("save-text").addEventListener("click", () => keepAs("text", "txt", "text/plain"));
}

function bindRun(board) {
  find("run").addEventListener("click", () => {
    const run = recall();
    const going = run && run.started !== null && !run.over;
    if (going && !window.confirm("A run is going on. Put this plan in its place?")) return;
    if (!keep(new Run(board.detail.run))) {
      notify("This browser keeps nothing, so a run cannot be handed over.", "error");
      return;
    }
    window.location.assign("assets/run.html");
  });
  window.addEventListener("storage", showGoing);
  window.addEventListener("pageshow", showGoing);
}
