// A local video beside a take: its frames, its own rate, and how its time lies to
// the take's. The file never leaves the page.

/** Rates that videos have. @type {[string, number][]} */
export const RATES = [
  ['24000/1001', 24000 / 1001], ['24', 24], ['25', 25], ['30000/1001', 30000 / 1001], ['30', 30],
  ['50', 50], ['60000/1001', 60000 / 1001], ['60', 60], ['120', 120],
];

export class Film {
  /**
   * @param {HTMLElement} box
   * @param {HTMLVideoElement} video
   */
  constructor(box, video) {
    this.box = box;
    this.video = video;
    this.url = '';
    this.name = '';
    this.size = 0;
    this.rate = '';
    this.fps = 0;
    /** Seconds from the take's first moment to the video's; NaN while not matched. */
    this.offset = NaN;
    this.wanted = -1;
    video.addEventListener('seeked', () => this.next());
  }

  get on() {
    return this.url !== '';
  }

  get matched() {
    return this.on && !Number.isNaN(this.offset) && this.fps > 0;
  }

  /** @param {File} file */
  async open(file) {
    this.close();
    this.url = URL.createObjectURL(file);
    this.name = file.name;
    this.size = file.size;
    this.box.hidden = false;
    await new Promise((done, fail) => {
      this.video.onloadeddata = done;
      this.video.onerror = () => fail(new Error('this browser cannot play the file: WebM with VP8 or VP9 always works'));
      this.video.src = this.url;
    });
    this.set(await this.measure());
  }

  /** @param {string} rate */
  set(rate) {
    const r = RATES.find(([name]) => name === rate);
    this.rate = rate;
    this.fps = r ? r[1] : fraction(rate);
  }

  /** Plays a moment of the video to see how far its frames are apart. */
  async measure() {
    const v = this.video;
    if (!('requestVideoFrameCallback' in v)) return '60';
    /** @type {number[]} */
    const times = [];
    v.currentTime = 0;
    v.playbackRate = 1;
    const more = () => new Promise((done) => v.requestVideoFrameCallback((_now, m) => done(m.mediaTime)));
    const end = Math.min(v.duration || 1, 1.2);
    try {
      await v.play();
      while (times.length < 40 && !v.ended && (times.length === 0 || times[times.length - 1] < end - 0.1)) {
        times.push(await Promise.race([more(), new Promise((done) => v.addEventListener('ended', () => done(-1), { once: true }))]));
        if (times[times.length - 1] < 0) {
          times.pop();
          break;
        }
      }
    } catch {
      return '60';
    }
    v.pause();
    const near = nearest(times);
    /** Times of frames far apart: they tell rates from one another that are alike. @type {number[]} */
    const far = [];
    for (const part of near.length > 1 ? [0.93, 0.71, 0.53, 0.37] : []) {
      const shown = more();
      v.currentTime = part * v.duration;
      far.push(await shown);
    }
    v.currentTime = 0;
    return closest(near, far.map((t) => t - times[0]));
  }

  close() {
    this.video.pause();
    this.video.removeAttribute('src');
    if (this.url) URL.revokeObjectURL(this.url);
    this.url = '';
    this.offset = NaN;
    this.box.hidden = true;
  }

  /** The video frame at a time of the video. @param {number} t seconds */
  frameOf(t) {
    return Math.floor(t * this.fps + 1e-4);
  }

  /** Shows the video frame that shows at a time of the take. @param {number} t seconds */
  show(t) {
    this.frame(this.frameOf(t - this.offset));
  }

  /** Shows a frame; asked for again while seeking, only the newest is shown. @param {number} k */
  frame(k) {
    const last = Math.max(Math.floor(this.video.duration * this.fps) - 1, 0);
    this.wanted = Math.max(0, Math.min(k, last));
    if (!this.video.seeking) this.next();
  }

  next() {
    if (this.wanted < 0) return;
    const t = (this.wanted + 0.5) / this.fps; // the middle of a frame is never another's
    if (Math.abs(this.video.currentTime - t) > 1e-4) this.video.currentTime = t;
  }

  /** The frame that is wanted or shown. */
  get at() {
    return this.video.paused && this.wanted >= 0 ? this.wanted : this.frameOf(this.video.currentTime);
  }
}

/** @param {string} s */
function fraction(s) {
  const [a, b] = s.split('/').map(Number);
  return b ? a / b : a || 0;
}

/**
 * The rates that a video may have whose frames showed at these times, the best
 * first; a display that skips frames shows multiples of the distance, so the least
 * counts.
 * @param {number[]} times s
 */
function nearest(times) {
  const steps = times.slice(1).map((t, i) => t - times[i]).filter((d) => d > 1e-4).sort((a, b) => a - b);
  if (steps.length < 3) return [RATES[7]];
  const base = steps[0];
  let sum = 0;
  let frames = 0;
  for (const d of steps) {
    const n = Math.round(d / base);
    if (Math.abs(d - n * base) < 0.2 * base) {
      sum += d;
      frames += n;
    }
  }
  const fps = frames / sum;
  const off = (/** @type {[string, number]} */ r) => Math.abs(r[1] / fps - 1);
  const all = [...RATES].sort((a, b) => off(a) - off(b));
  return all.filter((r, i) => i === 0 || off(r) < 0.01);
}

/**
 * The rate on whose grid the times lie best.
 * @param {[string, number][]} rates
 * @param {number[]} times s from the first frame
 */
function closest(rates, times) {
  const miss = (/** @type {number} */ fps) => times.reduce((n, t) => n + Math.abs(t * fps - Math.round(t * fps)), 0);
  return [...rates].sort((a, b) => miss(a[1]) - miss(b[1]))[0][0];
}
