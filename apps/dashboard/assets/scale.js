// The one axis of colour and line: concentration, logarithmic, so that the tail of a wash shows.

const LOW = 0.001; // g/L, bottom of the axis: a sixtieth of what the target leaves in the pores
const HIGH = 150; // g/L, top: above the strongest usual fixer
const SPAN = Math.log10(HIGH / LOW);

export const TICKS = [0.001, 0.01, 0.1, 1, 10, 100];

// 0 at the bottom of the axis or below, 1 at the top or above.
export const level = (g_l) =>
  Math.min(Math.max(Math.log10(Math.max(g_l, 1e-12) / LOW) / SPAN, 0), 1);
