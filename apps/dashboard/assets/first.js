// The three questions: asked in a dialog, answered by a plan, with why and with what was assumed,
// each assumption leading to the field where it is changed.

import { make } from "./fields.js";
import { remember } from "./shell.js";

const find = (id) => document.getElementById(id);

export function bindFirst(desk) {
  const dialog = find("questions");
  const form = dialog.querySelector("form");
  find("first").addEventListener("click", () => {
    // the plan that is still the one shown; after a change its assumptions hold no more
    if (desk.told.assumed.length) showPlan(desk, dialog);
    else find("plan").hidden = true;
    dialog.showModal();
  });
  dialog.addEventListener("close", () => {
    remember("first", "done");
    find("first").classList.remove("strong");
  });
  find("questions-close").addEventListener("click", () => dialog.close());
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    desk.addEventListener("told", () => showPlan(desk, dialog), { once: true });
    desk.ask({
      do: "first",
      sheets: form.elements.sheets.valueAsNumber,
      size: form.elements.size.value,
      way: form.elements.way.value,
      minutes: form.elements.minutes.valueAsNumber,
    });
  });
  for (const name of ["help", "sure"]) {
    const show = () => { find(`plan-${name}`).textContent = desk.board[name] || "…"; };
    show();
    desk.board.properties[name].change.connect(show);
  }
  find("plan-all").addEventListener("click", () => dialog.close());
}

function showPlan(desk, dialog) {
  const { told } = desk;
  find("plan").hidden = false;
  find("plan-sentence").textContent = told.error || told.sentence;
  find("plan-why").hidden = Boolean(told.error);
  find("plan-limit").textContent = told.limit;
  find("assumed").replaceChildren(
    ...told.assumed.map(([words, path]) => {
      const link = make("a", { href: "#editor", textContent: words });
      link.addEventListener("click", (event) => {
        event.preventDefault();
        dialog.close();
        showField(path);
      });
      return make("li", {}, link);
    }),
  );
}

// Opens what is folded over a field and goes there.
export function showField(path) {
  const input = document.getElementById(`f-${path.replaceAll(".", "-")}`);
  for (let fold = input?.closest("details"); fold; fold = fold.parentElement.closest("details")) {
    fold.open = true;
  }
  input?.scrollIntoView({ block: "center" });
  input?.focus();
}
