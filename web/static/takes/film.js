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
    v.currentTime = 0;
    return nearest(times);
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
 * The rate of a video whose frames showed at these times; a display that skips
 * frames shows multiples of the distance, so the least counts.
 * @param {number[]} times s
 */
function nearest(times) {
  const steps = times.slice(1).map((t, i) => t - times[i]).filter((d) => d > 1e-4).sort((a, b) => a - b);
  if (steps.length < 3) return '60';
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
  let best = RATES[0];
  for (const r of RATES) if (Math.abs(r[1] - fps) < Math.abs(best[1] - fps)) best = r;
  return best[0];
}
