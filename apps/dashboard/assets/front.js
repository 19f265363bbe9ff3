// Litres against minutes: every plan a numbered point, the visitor's own schedule a diamond, the time
// there is a wall. Water is on a logarithmic axis, as plans differ by factors.

const NS = "http://www.w3.org/2000/svg";
const EDGE = { left: 44, right: 18, top: 18, bottom: 40 };
const STEPS = [1, 2, 5];
const RADIUS = 11;
const FAR = 1.3;

function draw(tag, attributes, text) {
  const element = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  if (text !== undefined) element.textContent = text;
  return element;
}

export class Front {
  // choose(index) is called with the number of a plan, or -1 for the visitor's own.
  constructor(svg, choose) {
    this.svg = svg;
    this.choose = choose;
    this.data = null;
    new ResizeObserver(() => this.paint()).observe(svg);
  }

  load(data, chosen) {
    this.data = data;
    this.chosen = chosen;
    this.paint();
  }

  paint() {
    const { svg, data } = this;
    const { clientWidth: width, clientHeight: height } = svg;
    svg.replaceChildren();
    if (!data || !width) return;
    svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const points = [...data.plans, data.own];
    const times = points.map((one) => one.minutes);
    const waters = points.map((one) => one.water);
    const low = Math.min(...times, data.limit), latest = Math.max(...times);
    // a wall far behind all plans is told, not drawn: the plans would huddle in a corner
    const far = data.limit > FAR * latest;
    const high = far ? latest : Math.max(latest, data.limit);
    const pad = Math.max((high - low) * 0.1, 1);
    const x0 = Math.max(0, low - pad), x1 = high + pad;
    const y0 = Math.log10(Math.min(...waters) / 1.3), y1 = Math.log10(Math.max(...waters) * 1.3);
    this.x = (minutes) => EDGE.left + ((width - EDGE.left - EDGE.right) * (minutes - x0)) / (x1 - x0);
    this.y = (water) => height - EDGE.bottom - ((height - EDGE.top - EDGE.bottom) * (Math.log10(water) - y0)) / (y1 - y0);
    this.axes(width, height, [x0, x1], [y0, y1], data.own.unit);
    const wall = far ? width - EDGE.right + 6 : this.x(data.limit);
    if (!far) svg.append(draw("line", { class: "wall", x1: wall, x2: wall, y1: EDGE.top, y2: height - EDGE.bottom }));
    this.right = width;
    const [anchor, aside] = wall < width / 2 ? ["start", 6] : ["end", -6];
    svg.append(draw("text", { x: wall + aside, y: EDGE.top + 2, "text-anchor": anchor }, far ? `time there is: ${data.limit} min →` : "time there is"));
    const way = data.plans.map((one, i) => `${i ? "L" : "M"}${this.x(one.minutes)} ${this.y(one.water)}`).join("");
    svg.append(draw("path", { class: "way", d: way || "M0 0" }));
    this.point(data.own, -1);
    data.plans.forEach((one, i) => this.point(one, i));
  }

  axes(width, height, [x0, x1], [y0, y1], unit) {
    const gap = [1, 2, 5, 10, 20, 30, 60, 120, 240].find((step) => (x1 - x0) / step <= 7) ?? 480;
    for (let at = Math.ceil(x0 / gap) * gap; at <= x1; at += gap) {
      const x = this.x(at);
      this.svg.append(draw("line", { class: "grid", x1: x, x2: x, y1: EDGE.top, y2: height - EDGE.bottom }));
      this.svg.append(draw("text", { class: "axis", x, y: height - EDGE.bottom + 18, "text-anchor": "middle" }, at));
    }
    for (let decade = Math.floor(y0); decade <= y1; decade += 1) {
      for (const step of STEPS) {
        const value = step * 10 ** decade;
        if (Math.log10(value) < y0 || Math.log10(value) > y1) continue;
        const y = this.y(value);
        this.svg.append(draw("line", { class: "grid", x1: EDGE.left, x2: width - EDGE.right, y1: y, y2: y }));
        this.svg.append(draw("text", { class: "axis", x: EDGE.left - 8, y: y + 5, "text-anchor": "end" }, String(Number(value.toPrecision(1)))));
      }
    }
    this.svg.append(draw("text", { class: "axis", x: width - EDGE.right, y: height - 6, "text-anchor": "end" }, "minutes since the first print left the fixer"));
    this.svg.append(draw("text", { class: "axis", x: 4, y: EDGE.top - 4 }, unit));
  }

  point(plan, index) {
    const x = this.x(plan.minutes), y = this.y(plan.water);
    const group = draw("g", { class: `point${index === this.chosen ? " chosen" : ""}`, "data-index": index });
    const r = RADIUS;
    group.append(index < 0
      ? draw("path", { d: `M${x} ${y - r}L${x + r} ${y}L${x} ${y + r}L${x - r} ${y}Z` })
      : draw("circle", { cx: x, cy: y, r }));
    if (index >= 0) group.append(draw("text", { x, y }, index + 1));
    group.append(draw("title", {}, `${plan.words}: ${plan.amount}, ${plan.time}${plan.chance && `, chance ${plan.chance}`}`));
    group.addEventListener("click", () => this.choose(index));
    this.svg.append(group);
    if (index >= 0) return;
    // on the side where there is room
    const [side, anchor] = x + r + 50 > this.right ? [-1, "end"] : [1, "start"];
    this.svg.append(draw("text", { x: x + side * (r + 4), y: y + 5, "text-anchor": anchor }, "yours"));
  }
}
