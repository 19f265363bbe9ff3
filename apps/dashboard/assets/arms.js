// Up to four small cross-sections on one clock. Each schedule has frames of its own; the clock they
// share gives the minute, and each finds its frame for it. One that has ended keeps its last frame.

import { CrossSection } from "./cross_section.js";
import { digits } from "./digits.js";
import { Player } from "./player.js";

export class Arms {
  // boxes: elements that hold a canvas, .title, .place and .left; font: of words in the pictures, px
  constructor(boxes, palette, font) {
    this.arms = boxes.map((box) => ({
      box,
      own: new Player(),
      section: new CrossSection(box.querySelector("canvas"), palette, { plain: true, font }),
    }));
  }

  // told: words and layers of each schedule; films: its frames, a Bokeh source each
  load(told, films) {
    this.told = told;
    document.body.style.setProperty("--count", told.arms.length);
    const span = Math.max(...told.arms.map(({ layers }) => layers.at(-1).stop));
    this.arms.forEach(({ box, own, section }, i) => {
      const here = told.arms[i];
      box.hidden = !here;
      if (!here) return;
      const { minutes, mobile, held, water, place } = films[i].data;
      const { layers, depth, sealed } = here;
      box.querySelector(".title").textContent = here.title;
      section.load({ layers, depth, mobile, held, water, place, sealed, span });
      own.load(minutes, 0);
    });
    this.films = films;
  }

  show(minute) {
    this.told.arms.forEach((here, i) => {
      const { box, own, section } = this.arms[i];
      const { place, residual } = this.films[i].data;
      own.seek(own.positionAt(minute));
      section.draw(own.position);
      const before = Math.floor(own.position);
      const after = Math.min(before + 1, own.last);
      const share = own.position - before;
      const left = residual[before] * (1 - share) + residual[after] * share;
      const done = minute > here.end + 0.01;
      box.querySelector(".left").textContent = digits(left);
      box.querySelector(".place").textContent = done ? "finished" : place[before];
      box.classList.toggle("under", left <= this.told.target && minute > this.told.fixed);
    });
  }

  // the theme or the room has changed
  redraw() {
    for (const { section } of this.arms) section.resize();
  }
}
