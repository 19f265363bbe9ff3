// The inputs: native sliders and choices. What they ask for goes to the server as one dictionary;
// while an answer is on its way only the latest wish waits, so a drag never queues up.

export class Controls {
  constructor(form, send) {
    this.form = form;
    this.send = send;
    this.waiting = false;
    this.latest = null;
    form.addEventListener("submit", (event) => event.preventDefault());
    form.addEventListener("input", () => {
      this.show();
      this.ask();
    });
    form.addEventListener("click", (event) => {
      const button = event.target.closest("button[data-reset]");
      if (button) this.reset(button.dataset.reset.split(" "));
    });
    this.show();
  }

  get values() {
    const values = {};
    for (const box of this.form.querySelectorAll("[data-control]")) {
      const field = box.querySelector("input:checked, input[type=range], select");
      values[box.dataset.control] = field.type === "range" ? field.valueAsNumber : field.value;
    }
    return values;
  }

  reset(names) {
    for (const name of names) {
      const box = this.form.querySelector(`[data-control="${name}"]`);
      const fields = box.querySelectorAll("input, select");
      for (const field of fields) {
        if (field.type === "radio") field.checked = field.value === box.dataset.default;
        else field.value = box.dataset.default;
      }
    }
    this.show();
    this.ask();
  }

  // Readouts, reset buttons, and which controls have an effect in the chosen method.
  show() {
    const values = this.values;
    for (const box of this.form.querySelectorAll("[data-control]")) {
      const value = values[box.dataset.control];
      const field = box.querySelector("input[type=range]");
      if (field) {
        const text = `${value} ${field.dataset.unit}`.trim();
        box.querySelector("output").textContent = text;
        field.setAttribute("aria-valuetext", text);
        const share = (value - field.min) / (field.max - field.min);
        field.style.setProperty("--filled", `${share * 100}%`);
      }
      const changed = String(value) !== box.dataset.default;
      box.querySelector("button[data-reset]").classList.toggle("idle", !changed);
      box.querySelector("button[data-reset]").disabled = !changed;
      const method = box.dataset.method;
      if (method) box.hidden = method !== values.method;
    }
    const all = this.form.querySelector("button.all");
    all.disabled = !this.form.querySelector("button[data-reset]:not(.all):enabled");
  }

  ask() {
    this.latest = this.values;
    if (!this.waiting) this.flush();
  }

  flush() {
    this.waiting = true;
    this.send(this.latest);
    this.latest = null;
  }

  answered() {
    this.waiting = false;
    if (this.latest) this.flush();
  }
}
