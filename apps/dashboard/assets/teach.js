// The teacher's page: what the class has predicted so far, asked for again every few seconds.

import { notify } from "./shell.js";
import { showVerdict } from "./verdict.js";

const EVERY = 4000; // ms
const find = (id) => document.getElementById(id);
const ask = JSON.parse(find("asking").textContent);
const told = JSON.parse(find("told").textContent);
const address = `learn/class?lesson=${encodeURIComponent(ask.lesson)}`;
let votes = [];

const draw = () => showVerdict(find("scale"), ask, told, null, votes);

async function look() {
  try {
    const answer = await fetch(address);
    const found = await answer.json();
    votes = found.votes;
    find("tally").textContent = found.tally;
    draw();
  } catch {
    find("tally").textContent = "The server does not answer.";
  }
}

find("clear").addEventListener("click", async () => {
  try {
    await fetch(address, { method: "POST" });
    await look();
  } catch {
    notify("The server does not answer; try again.", "error");
  }
});
new ResizeObserver(draw).observe(document.querySelector("main"));
look();
setInterval(look, EVERY);
