// What a run knows: the plan, when it began, what is done, and by how much everything after is
// late. Plain data and arithmetic, kept by the browser so that a reload goes on where it was.

const KEY = "washsim-run";
const EARLY = 60; // s
const GRACE = 15; // s a move may take longer than its hands' time before all that follows shifts

export class Run {
  // plan: {title, ready: [text], start: s after midnight or null,
  //        moments: [{at: s, hands: s, moves: [text]}]}
  constructor(plan, saved = {}) {
    this.plan = plan;
    this.started = saved.started ?? null; // ms since 1970 at which the plan's zero lies
    this.delay = saved.delay ?? 0; // s that what is still to come is later than planned
    this.done = saved.done ?? []; // [{at: ms, delay: s before it}]
  }

  get next() { return this.plan.moments[this.done.length]; }
  // s before its time at which 'done' is asked about once: a minute, or half of a short wait, so that
  // a finger that presses twice does not skip the next move.
  get early() {
    const i = this.done.length;
    if (!i) return EARLY;
    const wait = this.plan.moments[i].at - this.plan.moments[i - 1].at;
    return Math.min(EARLY, Math.max(GRACE, wait / 2));
  }

  get over() { return this.started !== null && !this.next; }

  // ms at which moment i is due; a moment that is done was due under the delay of its time.
  due(i = this.done.length) {
    const delay = i < this.done.length ? this.done[i].delay : this.delay;
    return this.started + 1000 * (this.plan.moments[i].at + delay);
  }

  get ends() { return this.started + 1000 * (this.plan.moments.at(-1).at + this.delay); }

  start(now) { this.started = now; }

  // The moves of this moment are done. Hands take their time; what is late beyond that, later
  // moves wait for, so that no bath is cut short. s of shift.
  confirm(now) {
    const late = (now - this.due()) / 1000 - this.next.hands;
    const shift = late > GRACE ? Math.round(late) : 0;
    this.done.push({ at: now, delay: this.delay });
    this.delay += shift;
    return shift;
  }

  later(seconds) { this.delay += seconds; }

  undo() {
    const last = this.done.pop();
    if (last) this.delay = last.delay;
    else this.started = null;
  }
}

// The run of this browser, or null.
export function recall() {
  try {
    const { plan, ...saved } = JSON.parse(localStorage.getItem(KEY));
    return new Run(plan, saved);
  } catch {
    return null;
  }
}

// False where the browser keeps nothing.
export function keep({ plan, started, delay, done }) {
  try {
    localStorage.setItem(KEY, JSON.stringify({ plan, started, delay, done }));
    return true;
  } catch {
    return false;
  }
}

export function forget() {
  try { localStorage.removeItem(KEY); } catch { /* nothing was kept */ }
}
