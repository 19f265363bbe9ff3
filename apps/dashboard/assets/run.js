// Run mode: the next move, how long until then, and a large button. Needs no server once loaded.

import { forget, keep, recall } from "./run_state.js";

const STEP = 60; // s of 'later'
const find = (id) => document.getElementById(id);
const make = (tag, text) => Object.assign(document.createElement(tag), { textContent: text });

let run = recall();
let asked = false;
let shown = "";

function clock(ms, seconds = false) {
  const style = { hour: "2-digit", minute: "2-digit", ...(seconds && { second: "2-digit" }) };
  const hours = run?.plan.hours === 12 ? { hour12: true } : { hourCycle: "h23" };
  return new Date(ms).toLocaleTimeString("en", { ...style, ...hours });
}

function span(seconds) {
  const s = Math.floor(seconds % 60), m = Math.floor(seconds / 60) % 60, h = Math.floor(seconds / 3600);
  const tail = `${String(s).padStart(2, "0")}`;
  return h ? `${h}:${String(m).padStart(2, "0")}:${tail}` : `${m}:${tail}`;
}

function say(text) { find("asked").textContent = text; }

function store() {
  if (!keep(run)) trouble("This browser keeps nothing: do not reload this page during the run.");
}

function trouble(text) {
  find("trouble").textContent = text;
  find("trouble").hidden = !text;
}

function show() {
  const page = !run ? "none" : run.over ? "over" : run.started === null ? "ready" : "going";
  for (const id of ["none", "ready", "going", "over"]) find(id).hidden = id !== page;
  document.title = run ? run.plan.title : "Run";
  if (run) find("title").textContent = run.plan.title;
  if (page === "ready") showReady();
  if (page === "going") showMoment();
  // a second press of the space bar must never repeat 'later' or 'undo'
  if (page === "going") find("done").focus();
  if (page === "over") showLog();
  tick();
}

function showReady() {
  find("vessels").replaceChildren(...run.plan.ready.map((text) => make("li", text)));
  const minutes = Math.round(run.plan.moments.at(-1).at / 60);
  find("length").textContent = `${run.plan.moments.length} moments in ${minutes} min.`;
  const at = planned();
  find("start-at").hidden = !at;
  if (at) find("start-at").textContent = `Start at ${clock(at)}`;
  find("start").focus();
}

// ms of the plan's start today; 0 where it has gone by or none was set.
function planned() {
  if (run.plan.start === null) return 0;
  const midnight = new Date();
  midnight.setHours(0, 0, 0, 0);
  const at = midnight.getTime() + 1000 * run.plan.start;
  return at > Date.now() ? at : 0;
}

function showMoment() {
  const i = run.done.length, after = run.plan.moments[i + 1];
  find("count").textContent = `${i + 1} of ${run.plan.moments.length}`;
  find("what").replaceChildren(...run.next.moves.map((text) => make("li", text)));
  find("next").hidden = !after;
  if (after) {
    find("next-when").textContent = clock(run.due(i) + 1000 * (after.at - run.next.at));
    find("next-what").replaceChildren(...after.moves.map((text) => make("li", text)));
  }
  find("ends").textContent = `ends ${clock(run.ends)}${run.delay ? `, ${span(run.delay)} later than planned` : ""}`;
}

function showLog() {
  find("log").replaceChildren(...run.plan.moments.map((moment, i) => {
    const row = make("tr", "");
    row.append(
      make("td", clock(run.started + 1000 * moment.at)),
      make("td", clock(run.done[i].at, true)),
      make("td", moment.moves.join("; ")),
    );
    return row;
  }));
}

function tick() {
  find("now").textContent = clock(Date.now());
  if (!run || run.started === null || run.over) {
    document.body.classList.remove("due");
    return;
  }
  const left = (run.due() - Date.now()) / 1000;
  // rounded up while it is to come, so that 0:00 is the moment itself
  const text = left > 0 ? span(Math.ceil(left)) : span(-left);
  // hands take their time: a move is due while they are at it, and late after that
  const when = left > 0 ? "in" : -left <= run.next.hands ? "now" : "late";
  document.body.classList.toggle("due", left <= 0);
  if (`${when} ${text}` === shown) return;
  shown = `${when} ${text}`;
  find("when").textContent = when;
  find("countdown").textContent = text;
  find("countdown").style.setProperty("--length", text.length);
  document.title = `${text} ${run.next.moves[0]}`;
}

function confirm() {
  if (!run || run.over || run.started === null) return;
  const left = (run.due() - Date.now()) / 1000;
  if (left > run.early && !asked) {
    asked = true;
    say(`It is due in ${span(left)}. Press again if it is done.`);
    return;
  }
  asked = false;
  const shift = run.confirm(Date.now());
  say(shift ? `${span(shift)} late: all that follows is moved by as much.` : "");
  store();
  show();
}

function begin(at) {
  run.start(at);
  store();
  stayAwake();
  show();
}

function undo() {
  asked = false;
  run.undo();
  say("");
  store();
  show();
}

function later() {
  asked = false;
  run.later(STEP);
  say("All that follows is a minute later.");
  store();
  show();
}

// A screen that goes dark shows no countdown; where the browser may not hold it, nothing is lost.
async function stayAwake() {
  try { await navigator.wakeLock?.request("screen"); } catch { /* refused, or the page is hidden */ }
}

find("start").addEventListener("click", () => begin(Date.now()));
find("start-at").addEventListener("click", () => begin(planned() || Date.now()));
find("done").addEventListener("click", confirm);
find("later").addEventListener("click", later);
find("undo").addEventListener("click", undo);
find("back").addEventListener("click", undo);
find("clear").addEventListener("click", () => { forget(); run = null; show(); });
document.addEventListener("keydown", (event) => {
  if (event.target.closest("button, a") || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key !== " " && event.key !== "Enter") return;
  event.preventDefault();
  if (run && run.started === null) begin(Date.now());
  else confirm();
});
document.addEventListener("visibilitychange", () => {
  if (!document.hidden && run?.started) stayAwake();
});
// another window of this browser may drive the same run
window.addEventListener("storage", () => { run = recall(); show(); });

show();
if (run?.started) stayAwake();
setInterval(tick, 200);
// keeps this page's own files, so that it can be reloaded after the server has gone
navigator.serviceWorker?.register("run_keeper.js").catch(() => {});
