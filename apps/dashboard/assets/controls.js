// The controls beside the picture: built from the description, shown from the desk's values.

import { makeField, showAll } from "./fields.js";

export class Controls {
  constructor(form, desk) {
    this.form = form;
    this.desk = desk;
    this.list = form.querySelector(".quick");
    form.addEventListener("submit", (event) => event.preventDefault());
    form.querySelector("button.all").addEventListener("click", () => desk.ask({ do: "reset" }));
    this.build();
  }

  build() {
    const focused = document.activeElement?.id;
    this.list.replaceChildren(...this.desk.board.shape.quick.map((field) => makeField(field, this.desk)));
    this.show();
    if (focused) this.list.querySelector(`#${CSS.escape(focused)}`)?.focus();
  }

  show() {
    showAll(this.list, this.desk);
    const all = this.form.querySelector("button.all");
    all.disabled = !this.form.querySelector("button.reset:enabled");
  }
}
