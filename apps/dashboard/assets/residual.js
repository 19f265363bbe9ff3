// Ties the residual chart to the clock: the time marker follows it, a click or a drag moves it.

import { onTheme } from "./shell.js";

// What the browser changes by itself is nobody else's business: no message to the server.
const HERE_ONLY = { sync: false };

export function followClock(player, figure, marker) {
  player.addEventListener("time", () => {
    marker.setv({ location: player.minute }, HERE_ONLY);
  });
  const seek = (event) => {
    // a finger that moves up or down scrolls the page
    if (event.event_name === "pan" && Math.abs(event.delta_y) > Math.abs(event.delta_x)) return;
    player.pause();
    player.seek(player.positionAt(event.x));
  };
  for (const kind of ["tap", "doubletap", "pan"]) figure.on_event(kind, seek);
}

// The chart takes its colours from the page, so that light and dark need no second chart.
export function followTheme(parts) {
  const dress = () => {
    const style = getComputedStyle(document.body);
    for (const [model, wanted] of parts) {
      const values = {};
      for (const [property, variable] of Object.entries(wanted)) {
        values[property] = style.getPropertyValue(variable).trim();
      }
      model.setv(values, HERE_ONLY);
    }
  };
  dress();
  onTheme(dress);
}

// The area under the target, its line and its words, g/m².
export function moveTarget([under, line, words], level) {
  if (line.location === level) return;
  under.setv({ top: level }, HERE_ONLY);
  line.setv({ location: level }, HERE_ONLY);
  words.setv({ y: level, text: `target ${Number(level.toPrecision(3))} g/m²` }, HERE_ONLY);
}

// Values of a curve at a minute, for the key beside the chart.
export function valueAt(minutes, values, minute) {
  let after = 0;
  while (after < minutes.length - 1 && minutes[after] < minute) after++;
  const before = Math.max(after - 1, 0);
  const share = (minute - minutes[before]) / (minutes[after] - minutes[before] || 1);
  return values[before] + (values[after] - values[before]) * Math.min(Math.max(share, 0), 1);
}
