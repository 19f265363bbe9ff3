// Builds the control of one field from its description (form.py): a slider, a number, a choice or a
// line of text, with label, unit, meaning and the way back. The value always comes from the desk.

const ARROW = '<svg viewBox="0 0 20 20" aria-hidden="true"><path d="M4.5 8.5A6 6 0 1 1 4 11.5M4.5 3.5v5h5"/></svg>';

export function make(tag, properties = {}, ...children) {
  const { dataset, ...plain } = properties;
  const element = Object.assign(document.createElement(tag), plain);
  Object.assign(element.dataset, dataset);
  element.append(...children);
  return element;
}

export function makeField(field, desk) {
  if (field.slider) return makeSlider(field, desk);
  if (field.kind === "choice" && field.name && !field.listed) return makeSegments(field, desk);
  return makeEntry(field, desk);
}

// Numbers as people write them: no exponents for what a sink has, no digits of rounding.
export const written = (value) => (value === null || value === undefined ? "" : String(value));

const withUnit = (value, unit) => `${written(value)} ${unit}`.trim();

function words(field, value) {
  if (field.kind === "choice") return field.options.find(([key]) => key === value)?.[1] ?? "as usual";
  return value === null ? "as usual" : withUnit(value, field.unit ?? "");
}

function box(field, desk, ...children) {
  const element = make("div", { className: "control", dataset: { path: field.path } }, ...children);
  if (field.name) element.dataset.control = field.name;
  const back = element.querySelector(".reset");
  back.addEventListener("click", () => {
    desk.settle();
    desk.set(field.path, field.reset[0]);
  });
  // Nothing is touched that shows what it should already; `again` undoes what was typed or dragged.
  element.show = (value, again = false) => {
    if (value === element.shown && !again) return;
    element.shown = value;
    element.showValue(value);
    const changed = field.reset.length > 0 && value !== field.reset[0];
    back.classList.toggle("idle", !changed);
    back.disabled = !changed;
  };
  return element;
}

function resetButton(field) {
  const known = field.reset.length ? ` to ${words(field, field.reset[0])}` : "";
  const text = `Reset ${field.label.toLowerCase()}${known}`;
  const button = make("button", { type: "button", className: "reset idle", title: text, disabled: true });
  button.setAttribute("aria-label", text);
  button.innerHTML = ARROW;
  return button;
}

function makeSlider(field, desk) {
  const id = `in-${field.name}`;
  const label = make("label", { htmlFor: id, title: field.meaning, textContent: field.label });
  const output = make("output", { htmlFor: id });
  const input = make("input", {
    type: "range", id, min: field.low, max: field.high, step: field.step,
  });
  const element = box(field, desk, label, output, resetButton(field), input);
  element.classList.add("slide");
  element.showText = (value) => {
    const text = withUnit(value, field.unit);
    output.textContent = text;
    input.setAttribute("aria-valuetext", text);
    input.style.setProperty("--filled", `${(100 * (input.value - input.min)) / (input.max - input.min)}%`);
  };
  element.showValue = (value) => {
    input.value = value;
    element.showText(value);
  };
  input.addEventListener("input", () => {
    element.shown = undefined;
    element.showText(input.valueAsNumber);
    desk.set(field.path, input.valueAsNumber);
  });
  input.addEventListener("change", () => desk.settle());
  input.addEventListener("blur", () => {
    if (!desk.pending(field.path)) element.show(desk.values[field.path], true);
  });
  return element;
}

function makeSegments(field, desk) {
  const id = `in-${field.name}`;
  const legend = make("span", { id: `${id}-label`, className: "legend", title: field.meaning, textContent: field.label });
  let element = null;
  const segments = make("div", { className: "segments" });
  segments.setAttribute("role", "radiogroup");
  segments.setAttribute("aria-labelledby", legend.id);
  for (const [key, text] of field.options) {
    const input = make("input", { type: "radio", name: id, value: key });
    input.addEventListener("change", () => {
      element.shown = undefined;
      desk.settle();
      desk.set(field.path, key);
    });
    segments.append(make("label", {}, input, make("span", { textContent: text })));
  }
  element = box(field, desk, legend, resetButton(field), segments);
  element.classList.add("choice");
  element.showValue = (value) => {
    for (const input of segments.querySelectorAll("input")) input.checked = input.value === value;
  };
  return element;
}

function makeEntry(field, desk) {
  const id = field.name ? `in-${field.name}` : `f-${field.path.replaceAll(".", "-")}`;
  const label = make("label", { htmlFor: id, title: field.meaning, textContent: field.label });
  const input = field.kind === "choice" ? makeSelect(field) : makeInput(field);
  input.id = id;
  const unit = make("span", { className: "unit", textContent: field.unit ?? "" });
  const element = box(field, desk, label, resetButton(field), make("span", { className: "entry" }, input, unit));
  element.classList.add("field");
  input.addEventListener("focus", () => tellMeaning(element, field));
  input.addEventListener("blur", () => {
    if (!desk.pending(field.path)) element.show(desk.values[field.path], true);
  });
  element.showValue = (value) => {
    // what is being typed is not overwritten
    if (document.activeElement === input && input.kept !== undefined && input.value !== input.kept) return;
    input.value = written(value);
    input.kept = input.value;
  };
  input.addEventListener("change", () => {
    element.shown = undefined;
    input.kept = undefined;
    desk.settle();
    const empty = input.value === "" && (field.optional || field.kind !== "text");
    const value = empty ? null : field.kind === "number" ? input.valueAsNumber : input.value;
    if (value === null && !field.optional) element.showValue(desk.values[field.path]);
    else desk.set(field.path, value);
  });
  return element;
}

function makeInput(field) {
  const number = field.kind === "number";
  const input = make("input", { type: number ? "number" : "text", autocomplete: "off" });
  // the server names the range in words; the browser's own bubbles would name it twice
  if (number) Object.assign(input, { step: field.step, inputMode: "decimal" });
  else input.maxLength = field.longest;
  if (field.optional) input.placeholder = field.empty ?? "as usual";
  return input;
}

function makeSelect(field) {
  const select = make("select");
  if (field.optional) select.append(make("option", { value: "", textContent: "as usual" }));
  for (const [key, text] of field.options) select.append(make("option", { value: key, textContent: text }));
  return select;
}

// Shows the values that hold in all boxes below a place. After a refusal the control in hand keeps
// what was asked of it, until it is left.
export function showAll(root, desk) {
  const { values, error } = desk.told;
  for (const box of root.querySelectorAll("[data-path]")) {
    const inHand = error && box.contains(document.activeElement);
    if (!inHand && !desk.pending(box.dataset.path)) box.show(values[box.dataset.path], Boolean(error));
  }
}

// The meaning of the field in hand, in one line under its group: also where nothing hovers.
function tellMeaning(element, field) {
  const line = element.closest("[data-group]")?.querySelector(".meaning");
  if (line) line.textContent = `${field.label}: ${field.meaning}.`;
}
