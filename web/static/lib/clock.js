// Where the program's frame grid stands now, from messages that each carry the
// frame at which they were sent. Delivery only ever delays, so the message that
// was delayed least gives the truest offset: the greatest f − (own clock in
// frames) of the last seconds.

const BUCKETS = 8; // seconds looked back on

export class Clock {
  /** @param {number} frameMS length of a frame, ms */
  constructor(frameMS) {
    this.frameMS = frameMS;
    this.best = new Float64Array(BUCKETS).fill(-Infinity);
    this.second = new Float64Array(BUCKETS).fill(-1);
    this.offset = NaN;
  }

  /** Whether a message has set it. */
  get known() {
    return !Number.isNaN(this.offset);
  }

  /**
   * Takes the length of a frame from new settings; the old offset is void then.
   * @param {number} frameMS
   */
  setFrame(frameMS) {
    if (frameMS !== this.frameMS && frameMS > 0) {
      this.frameMS = frameMS;
      this.reset();
    }
  }

  /** Forgets everything, as after a restart of the program. */
  reset() {
    this.best.fill(-Infinity);
    this.second.fill(-1);
    this.offset = NaN;
  }

  /**
   * Learns from a message.
   * @param {number} f frame at which it was sent
   * @param {number} now own clock at arrival, ms
   */
  observe(f, now) {
    const s = Math.floor(now / 1000);
    const i = ((s % BUCKETS) + BUCKETS) % BUCKETS;
    const o = f - now / this.frameMS;
    if (this.second[i] !== s) {
      this.second[i] = s;
      this.best[i] = o;
    } else if (o > this.best[i]) {
      this.best[i] = o;
    }
    let max = -Infinity;
    for (let j = 0; j < BUCKETS; j++) {
      if (this.second[j] > s - BUCKETS && this.best[j] > max) max = this.best[j];
    }
    this.offset = max;
  }

  /**
   * The frame grid's position now, with a fraction; NaN before any message.
   * @param {number} now own clock, ms
   */
  frame(now) {
    return now / this.frameMS + this.offset;
  }
}
