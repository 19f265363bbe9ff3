// The controls beside the picture: built from the description, shown from the desk's values.

import { makeField } from "./fields.js";

export class Controls {
  constructor(form, desk) {
    this.form = form;
    this.desk = desk;
    this.list = form.querySelector(".quick");
    form.addEventListener("submit", (event) => event.preventDefault());
    form.querySelector("button.all").addEventListener("click", () => desk.ask({ do: "reset" }));
    // after a refusal the control in hand keeps what was asked; leaving it shows what holds
    form.addEventListener("focusout", () => this.show());
    this.build();
  }

  build() {
    const focused = document.activeElement?.id;
    this.list.replaceChildren(...this.desk.board.shape.quick.map((field) => makeField(field, this.desk)));
    this.show();
    if (focused) this.list.querySelector(`#${CSS.escape(focused)}`)?.focus();
  }

  show() {
    const { values, error } = this.desk.told;
    for (const box of this.list.children) {
      const path = box.dataset.path;
      const inHand = error && box.contains(document.activeElement);
      if (!inHand && !this.desk.pending(path)) box.show(values[path]);
    }
    const all = this.form.querySelector("button.all");
    all.disabled = !this.form.querySelector("button.reset:enabled");
  }
}
