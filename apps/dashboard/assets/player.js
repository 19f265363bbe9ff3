// The clock of the page: a position among the frames of the run, moved by the animation, the scrub
// bar, the keyboard or the curve. Everything that moves listens to it; the server never does.

const FRAMES_PER_SECOND = 10; // of the run, at speed 1; drawing interpolates in between

export class Player extends EventTarget {
  constructor() {
    super();
    this.minutes = [0];
    this.position = 0;
    this.speed = 1;
    this.playing = false;
  }

  get last() {
    return this.minutes.length - 1;
  }

  get minute() {
    const before = Math.floor(this.position);
    const after = Math.min(before + 1, this.last);
    const share = this.position - before;
    return this.minutes[before] * (1 - share) + this.minutes[after] * share;
  }

  // A new run keeps the time on the clock, so that a slider shows the same moment before and after.
  load(minutes, minute = this.minute) {
    this.minutes = minutes;
    this.seek(this.positionAt(minute));
  }

  positionAt(minute) {
    const m = this.minutes;
    if (minute <= m[0]) return 0;
    if (minute >= m[this.last]) return this.last;
    let low = 0;
    let high = this.last;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (m[middle] <= minute) low = middle;
      else high = middle;
    }
    return low + (minute - m[low]) / (m[high] - m[low] || 1);
  }

  seek(position) {
    this.position = Math.min(Math.max(position, 0), this.last);
    this.dispatchEvent(new Event("time"));
  }

  step(count) {
    this.pause();
    const base = count > 0 ? Math.floor(this.position + 1e-9) : Math.ceil(this.position - 1e-9);
    this.seek(base + count);
  }

  toggle() {
    if (this.playing) this.pause();
    else this.play();
  }

  play() {
    if (this.position >= this.last) this.seek(0);
    this.playing = true;
    this.dispatchEvent(new Event("state"));
    let before = performance.now();
    const tick = (now) => {
      if (!this.playing) return;
      const ahead = (Math.max(now - before, 0) / 1000) * FRAMES_PER_SECOND * this.speed;
      before = now;
      this.seek(this.position + ahead);
      if (this.position >= this.last) this.pause();
      else requestAnimationFrame(tick);
    };
    requestAnimationFrame(tick);
  }

  pause() {
    this.playing = false;
    this.dispatchEvent(new Event("state"));
  }
}
