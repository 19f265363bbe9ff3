// Everything of the scenario, to be edited: steps, vessels, sheets that join or stick, layers, and
// the blocks of single fields. Built anew when there is other to fill in, else only shown.

import { make, makeField, showAll } from "./fields.js";

const ICONS = {
  up: '<path d="M10 16V4M5 9l5-5 5 5"/>',
  down: '<path d="M10 4v12M5 11l5 5 5-5"/>',
  copy: '<path d="M7 7h9v9H7zM4 13V4h9"/>',
  remove: '<path d="M5 5l10 10M15 5L5 15"/>',
};
const ORDERED = ["steps", "sheet.layers"]; // where the order means something
const ONE = { steps: "step", vessels: "vessel", late: "late sheet", stuck: "stuck sheet", "sheet.layers": "layer" };

export class Schedule {
  constructor(root, desk) {
    this.root = root;
    this.desk = desk;
    this.open = new Set();
    this.wanted = ""; // what to focus once the list has changed
    this.build();
  }

  part(name) {
    return this.root.querySelector(`[data-part="${name}"]`);
  }

  build() {
    const focused = this.wanted || document.activeElement?.id;
    this.rememberOpen();
    const { title, steps, vessels, lists, blocks, kinds } = this.desk.board.shape;
    this.part("title").replaceChildren(makeField(title, this.desk));
    this.part("steps").replaceChildren(
      ...steps.map((step, i) => this.thing("steps", i + 1, steps.length, `${i + 1} ${step.label}`, step)),
      this.adder("steps", kinds),
    );
    this.part("vessels").replaceChildren(
      ...vessels.map((vessel, i) => this.thing("vessels", i + 1, vessels.length, vessel.label, vessel)),
      this.adder("vessels"),
    );
    this.part("blocks").replaceChildren(
      ...blocks.map((block) => this.fold(block.label, this.fields(block.fields))),
      ...lists.filter((list) => list.allowed).map((list) => this.list(list)),
    );
    this.show();
    if (focused) this.focus(focused);
    this.wanted = "";
  }

  // The control in hand stays in hand; a button that is no longer allowed passes to its neighbour.
  focus(id) {
    const found = document.getElementById(id);
    if (!found || !this.root.contains(found)) return;
    if (found.disabled) found.parentElement.querySelector("button:enabled")?.focus();
    else found.focus();
  }

  rememberOpen() {
    for (const fold of this.root.querySelectorAll("details[data-fold]")) {
      this.open[fold.open ? "add" : "delete"](fold.dataset.fold);
    }
  }

  fold(label, ...children) {
    const fold = make("details", { className: "card fold", dataset: { fold: label } },
      make("summary", { textContent: label }), ...children);
    fold.open = this.open.has(label);
    return fold;
  }

  // Fields in a row, the physics folded away, and a line that tells what the one in hand means.
  fields(fields, key = fields[0]?.path ?? "") {
    const plain = fields.filter((field) => !field.advanced);
    const folded = fields.filter((field) => field.advanced);
    const group = make("div", { dataset: { group: "" } });
    group.append(make("div", { className: "fields" }, ...plain.map((field) => makeField(field, this.desk))));
    if (folded.length) {
      const more = make("details", { className: "more", dataset: { fold: key } },
        make("summary", { textContent: `More: ${folded.map((field) => field.label.toLowerCase()).join(", ")}` }),
        make("div", { className: "fields" }, ...folded.map((field) => makeField(field, this.desk))));
      more.open = this.open.has(key);
      group.append(more);
    }
    group.append(make("p", { className: "meaning" }));
    return group;
  }

  thing(list, at, count, label, { about, fields }) {
    const head = make("div", { className: "thing-head" },
      make("h3", { textContent: label }),
      this.buttons(list, at, count, label));
    return make("li", { className: "thing card" }, head, make("p", { className: "about", textContent: about }), this.fields(fields));
  }

  buttons(list, at, count, label) {
    const group = make("span", { className: "moves" });
    const button = (name, text, disabled, change, then) => {
      const id = `${list.replace(".", "-")}-${at}-${name}`;
      const made = make("button", { type: "button", className: "icon", id, title: text, disabled });
      made.setAttribute("aria-label", `${text}: ${label}`);
      made.innerHTML = `<svg viewBox="0 0 20 20" aria-hidden="true" class="stroke">${ICONS[name]}</svg>`;
      made.addEventListener("click", () => {
        this.wanted = `${list.replace(".", "-")}-${then}-${name}`;
        this.desk.ask({ list, at, ...change });
      });
      group.append(made);
    };
    if (ORDERED.includes(list)) {
      button("up", "Move up", at === 1, { do: "move", by: -1 }, at - 1);
      button("down", "Move down", at === count, { do: "move", by: 1 }, at + 1);
    }
    button("copy", "Duplicate", false, { do: "copy" }, at + 1);
    button("remove", "Remove", false, { do: "remove" }, Math.max(1, Math.min(at, count - 1)));
    return group;
  }

  adder(list, kinds) {
    const row = make("li", { className: "adder" });
    const what = kinds && make("select", { id: `${list}-kind` },
      ...kinds.map(({ kind, label, about }) => make("option", { value: kind, textContent: label, title: about })));
    what?.setAttribute("aria-label", "Kind of step to add");
    const id = `${list.replace(".", "-")}-add`;
    const add = make("button", { type: "button", id, textContent: `Add a ${ONE[list]}` });
    add.addEventListener("click", () => {
      const { length } = this.items(list);
      this.desk.ask({ do: "add", list, at: length, kind: what?.value });
    });
    if (what) row.append(what);
    row.append(add);
    return row;
  }

  items(list) {
    const { steps, vessels, lists } = this.desk.board.shape;
    return { steps, vessels }[list] ?? lists.find((one) => one.list === list).items;
  }

  list({ list, label, items }) {
    const things = make("ol", { className: "things" },
      ...items.map((fields, i) =>
        this.thing(list, i + 1, items.length, `${i + 1}`, { about: "", fields })),
      this.adder(list));
    return this.fold(items.length ? `${label} (${items.length})` : label, things);
  }

  show() {
    showAll(this.root, this.desk);
  }
}
