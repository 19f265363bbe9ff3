// The pictures of the handout; black on white, lines told apart by their dashes.

import { Plot } from "./plot.js";
import { showVerdict } from "./verdict.js";

const SHARES = [0, 0.1, 0.3, 0.6]; // of the wash of run A: moments of the cross-section
const STYLES = ["run-a", "run-b", "run-c", "run-d"];
const find = (id) => document.getElementById(id);
const [ask, told, votes] = ["asking", "told", "votes"].map((id) => JSON.parse(find(id).textContent));

function curves() {
  const plot = new Plot(find("curves"), told.axis, { label: "Fixer left in each run's sheet against minutes of washing" });
  const lines = told.runs.map((run) => ({
    minutes: run.minutes, values: run.residual, letter: run.letter, style: `run-${run.letter.toLowerCase()}`,
  }));
  const others = ask.kind !== "curve" ? [] : votes.map((vote) => ({
    minutes: vote.map((point) => point[0]), values: vote.map((point) => point[1]), style: "guess",
  }));
  plot.show({ lines: [...lines, ...others], target: told.target, visible: told.visible });
  find("legend").replaceChildren(...told.runs.flatMap((run) => sample(`run-${run.letter.toLowerCase()}`, `${run.letter} ${run.title}`)));
}

function sample(style, text) {
  const row = document.createElement("span");
  row.innerHTML = `<svg viewBox="0 0 44 8" aria-hidden="true"><path class="curve ${style}" d="M0 4h44"/></svg>`;
  row.append(text);
  return [row];
}

function profile() {
  const run = told.runs[0];
  const { film, depth } = run;
  const washed = film.minutes.findIndex((minute) => minute >= 0);
  const moments = SHARES.map((share) => Math.round(washed + share * (film.minutes.length - 1 - washed)));
  const thick = depth.at(-1);
  const plot = new Plot(
    find("profile"),
    { start: 0, stop: thick, low: 0.001, high: 1000 },
    { across: "depth, µm; upward: g/L in the pores; on the curves: minutes of washing", label: "Fixer across the sheet at four moments" },
  );
  const lines = moments.map((frame, i) => ({
    minutes: depth,
    values: film.mobile.slice(frame * depth.length, (frame + 1) * depth.length),
    style: STYLES[i],
    letter: `${Math.round(film.minutes[frame])}′`,
  }));
  plot.show({ lines });
}

function water() {
  const strengths = told.runs.map(({ film }) => film.water.map((value) => Math.max(1e3 * value, 1e-9)));
  const seen = told.runs.flatMap(({ film }, i) => strengths[i].filter((_, j) => film.minutes[j] > 0.5));
  const low = 10 ** Math.max(-2, Math.floor(Math.log10(Math.min(...seen))));
  const plot = new Plot(
    find("water"),
    { start: 0, stop: told.axis.stop, low, high: 10 ** Math.ceil(Math.log10(Math.max(...seen, 10 * low))) },
    { across: "minutes of washing; upward: mg/L in the water", label: "Strength of the water around each run's sheet" },
  );
  plot.show({
    lines: told.runs.map(({ film, letter }, i) => {
      const from = film.minutes.findIndex((minute) => minute > 0);
      return { minutes: film.minutes.slice(from), values: strengths[i].slice(from), letter, style: STYLES[i] };
    }),
  });
}

curves();
profile();
water();
if (find("scale")) showVerdict(find("scale"), ask, told, null, votes);
find("print").addEventListener("click", () => window.print());
