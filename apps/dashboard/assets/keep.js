// Taking along and bringing back: link, files, pictures, print. Pictures are made here, in the
// browser; only the scenario's own file and the curves come from the server.

import { make } from "./fields.js";
import { bindUpload } from "./files.js";
import { notify } from "./shell.js";

const LARGEST = 1e6; // bytes; the server refuses larger files too, but need not be sent them
const HEAD = 30; // px above a picture, for its title
const SCALE = 2; // pixels of a PNG for one of the page
const SVG = "http://www.w3.org/2000/svg";
const find = (id) => document.getElementById(id);

export function bindKeep(desk, figures) {
  const menu = find("keep");
  find("link").addEventListener("focus", (event) => event.target.select());
  menu.addEventListener("toggle", () => { find("link").value = window.location.href; });
  find("copy-link").addEventListener("click", copyLink);
  find("print").addEventListener("click", () => {
    menu.open = false;
    window.print();
  });
  bindUpload(find("upload"), LARGEST, (file) => desk.ask({ do: "open", ...file }));
  bindPrint(figures);
  menu.addEventListener("click", ({ target }) => {
    const { picture, kind } = target.closest("[data-picture]")?.dataset ?? {};
    if (picture) savePicture(figures[picture], kind, desk.told.title, picture);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !menu.open) return;
    menu.open = false;
    menu.querySelector("summary").focus();
  });
  document.addEventListener("click", (event) => {
    if (!menu.contains(event.target)) menu.open = false;
  });
}

async function copyLink() {
  const link = find("link");
  link.select();
  try {
    await navigator.clipboard.writeText(link.value);
    notify("The link is copied.");
  } catch {
    // a page that did not come over a secure connection may not write to the clipboard
    notify("The link is selected: copy it with the keyboard or the menu of your device.");
  }
}

// On paper the charts are pictures as wide as the page, in the colours of the light theme.
function bindPrint({ residual, water }) {
  const root = document.documentElement;
  let theme = root.dataset.theme;
  const dress = (wanted) => {
    root.dataset.theme = wanted;
    document.dispatchEvent(new Event("themechange"));
  };
  window.addEventListener("beforeprint", () => {
    theme = root.dataset.theme;
    dress("light");
    for (const figure of [residual, water]) {
      const chart = document.querySelector(`[data-chart="${figure.name}"]`);
      const picture = window.Bokeh.index.find_one(figure).export("png").canvas.toDataURL();
      chart.after(make("img", { className: "printed", src: picture, alt: figure.name }));
    }
  });
  window.addEventListener("afterprint", () => {
    for (const picture of document.querySelectorAll("img.printed")) picture.remove();
    dress(theme);
  });
}

async function savePicture(figure, kind, title, name) {
  const view = figure.draw ? null : window.Bokeh.index.find_one(figure);
  const { width, height } = figure.canvas
    ? { width: figure.canvas.clientWidth, height: figure.canvas.clientHeight }
    : view.bbox;
  const ground = getComputedStyle(document.body).getPropertyValue("--card").trim();
  const ink = getComputedStyle(document.body).getPropertyValue("--ink").trim();
  const size = { width, height: height + HEAD };
  const blob =
    kind === "PNG"
      ? await drawPng(figure, view, size, title, ground, ink)
      : drawSvg(figure, view, size, title, ground, ink);
  const link = make("a", { href: URL.createObjectURL(blob), download: `washsim-${name}.${kind.toLowerCase()}` });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

function drawPng(figure, view, { width, height }, title, ground, ink) {
  const canvas = make("canvas", { width: width * SCALE, height: height * SCALE });
  const pen = canvas.getContext("2d");
  pen.scale(SCALE, SCALE);
  pen.fillStyle = ground;
  pen.fillRect(0, 0, width, height);
  pen.fillStyle = ink;
  pen.font = "600 15px system-ui, sans-serif";
  pen.fillText(title, 8, 20, width - 16);
  pen.translate(0, HEAD);
  if (view) pen.drawImage(view.export("png").canvas, 0, 0, width, height - HEAD);
  else figure.paint(pen);
  return new Promise((done) => canvas.toBlob(done, "image/png"));
}

// The charting library brings a pen that writes SVG; the cross-section is drawn with the same.
function drawSvg(figure, view, { width, height }, title, ground, ink) {
  const sheet = document.createElementNS(SVG, "svg");
  const add = (tag, attributes, text = "") => {
    const element = document.createElementNS(SVG, tag);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    element.textContent = text;
    return sheet.appendChild(element);
  };
  sheet.setAttribute("viewBox", `0 0 ${width} ${height}`);
  add("rect", { width, height, fill: ground });
  const font = Math.min(15, (1.6 * width) / title.length); // an SVG cannot measure: about what fits
  add("text", { x: 8, y: 20, fill: ink, "font-family": "system-ui, sans-serif", "font-size": font, "font-weight": 600 }, title);
  const inner = view ? view.export("svg").canvas : sectionSvg(figure, width, height - HEAD);
  inner.setAttribute("y", HEAD);
  sheet.append(inner);
  return new Blob([new XMLSerializer().serializeToString(sheet)], { type: "image/svg+xml" });
}

function sectionSvg(section, width, height) {
  const [any] = window.Bokeh.documents[0].roots();
  const Pen = window.Bokeh.index.find_one(any.select_one({ type: "Figure" }) ?? any).export("svg").ctx.constructor;
  const pen = new Pen({ width, height, document });
  section.paint(pen);
  return pen.get_svg();
}
