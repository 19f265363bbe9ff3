// What every page shares: theme, units, messages in one place, and the sign that work goes on.
// A page imports what it needs; the buttons in the bar are bound when this file is first loaded.

const YEAR = 365 * 24 * 3600; // s
const STATE_PAUSE = 250; // ms
const PATIENCE = 300; // ms before waiting is shown
const find = (id) => document.getElementById(id);

// Kept by the browser for a year; the server reads it with the next page.
export const remember = (name, value) => {
  document.cookie = `${name}=${value}; path=/; max-age=${YEAR}; SameSite=Lax`;
};

// Tells `changed` now and whenever the theme changes.
export function onTheme(changed) {
  document.addEventListener("themechange", changed);
}

function setTheme(theme) {
  document.documentElement.dataset.theme = theme;
  find("theme").setAttribute("aria-pressed", theme === "dark");
  document.dispatchEvent(new Event("themechange"));
}

function bindTheme() {
  const root = document.documentElement.dataset;
  find("theme").setAttribute("aria-pressed", root.theme === "dark");
  find("theme").addEventListener("click", () => {
    const theme = root.theme === "dark" ? "light" : "dark";
    remember("theme", theme);
    setTheme(theme);
  });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", (event) => {
    if (!/(?:^|; )theme=/.test(document.cookie)) setTheme(event.matches ? "dark" : "light");
  });
}

// A page that can change its units in place listens to 'unitschange' and prevents the default,
// which is to load the page again.
function bindUnits() {
  find("units").addEventListener("change", (event) => {
    const units = event.target.value;
    remember("units", units);
    const change = new CustomEvent("unitschange", { detail: units, cancelable: true });
    if (document.dispatchEvent(change)) window.location.reload();
  });
}

// One message at a time, as text, until the next one or until it is closed. An empty text takes
// it away. `kind` is "note" or "error"; an error is spoken at once by a screen reader.
export function notify(text, kind = "note") {
  const notice = find("notice");
  notice.hidden = !text;
  notice.classList.toggle("error", kind === "error");
  find("notice-kind").textContent = kind === "error" ? "Not done" : "Note";
  find("notice-text").textContent = text;
}

// The page waits for an answer, or no longer; shown only when it takes long.
let patience = 0;
export function waiting(is) {
  clearTimeout(patience);
  if (!is) {
    find("busy").hidden = true;
    document.body.removeAttribute("aria-busy");
    return;
  }
  patience = setTimeout(() => {
    find("busy").hidden = false;
    document.body.setAttribute("aria-busy", "true");
  }, PATIENCE);
}

// The scenario in the address: this page's own, and every link that carries it on. `own`: what else
// this page's address says. While a slider is dragged it waits: browsers allow only so many changes
// of the address in a while.
let latest = null;
let later = 0;
export function setState(state, own = "") {
  latest = [state, own];
  clearTimeout(later);
  later = setTimeout(carryLatest, STATE_PAUSE);
}

function carryLatest() {
  clearTimeout(later);
  if (latest !== null) carryState(...latest);
  latest = null;
}

function carryState(state, own) {
  const query = state ? `?s=${state}` : "";
  const here = [own, state && `s=${state}`].filter((part) => part).join("&");
  window.history.replaceState(null, "", `${window.location.pathname}${here && `?${here}`}`);
  for (const link of document.querySelectorAll("a[data-carry]")) {
    link.setAttribute("href", `${link.getAttribute("href").split("?")[0]}${query}`);
  }
}

bindTheme();
bindUnits();
// whoever follows a link takes along what holds now
document.addEventListener("click", carryLatest, { capture: true });
find("notice-close").addEventListener("click", () => notify(""));
