// How often the page looks at the gamepads.
//
// The Gamepad API has no event for a press; one has to look. Frames of the
// display are too far apart (16.7 ms at 60 Hz) and stop in hidden pages. A timer
// that starts itself again may not run more often than every 4 ms (HTML, timer
// initialisation steps), so two of them run, half a turn apart: about 500 looks a
// second. A look costs about 3 µs without a pad (measured in Chromium 156). The
// browser itself hears from a pad about every 4 ms, so looking more often than
// this finds nothing new.

const TURN = 4; // ms, the least that a browser allows

/** What looking costs and achieves: the mean and the longest interval of the last seconds, ms. */
export class Interval {
  constructor() {
    this.mean = 0;
    this.worst = 0;
    this.since = -1;
    this.last = -1;
    this.count = 0;
    this.longest = 0;
  }

  /** Begins anew after a pause in looking, which is no interval. */
  reset() {
    this.last = -1;
    this.count = 0;
    this.longest = 0;
  }

  /** @param {number} now ms */
  look(now) {
    if (this.last >= 0) {
      this.count++;
      this.longest = Math.max(this.longest, now - this.last);
    } else {
      this.since = now;
    }
    this.last = now;
    if (now - this.since >= 2000 && this.count > 0) {
      this.mean = (now - this.since) / this.count;
      this.worst = this.longest;
      this.since = now;
      this.count = 0;
      this.longest = 0;
    }
  }
}

/** Looks again and again until it is stopped. */
export class Poller {
  /** @param {(now: number) => void} look gets performance.now() */
  constructor(look) {
    this.look = look;
    this.interval = new Interval();
    this.running = false;
    /** @type {number[]} */
    this.timers = [0, 0];
  }

  start() {
    if (this.running) return;
    this.running = true;
    this.interval.reset();
    this.again(0, 0);
    this.again(1, TURN / 2);
  }

  stop() {
    this.running = false;
    this.timers.forEach((t) => clearTimeout(t));
  }

  /**
   * @param {number} which
   * @param {number} wait ms
   */
  again(which, wait) {
    this.timers[which] = setTimeout(() => {
      if (!this.running) return;
      this.again(which, TURN); // first, so that a fault in a look does not end the looking
      const now = performance.now();
      this.interval.look(now);
      this.look(now);
    }, wait);
  }
}
