// A video beside a take: choosing it, matching it by one press, moving by its frames.

import { clock, send, takeURL } from './api.js';
import { RATES } from './film.js';
import { fill } from './tables.js';

export class Beside {
  /** @param {import('./pane.js').Pane} pane */
  constructor(pane) {
    this.pane = pane;
  }

  /** @param {number} n frames of the video */
  step(n) {
    const f = this.pane.film;
    if (!f.on) return;
    f.frame(f.at + n);
    if (f.matched) {
      // The middle of the video's frame, which no rounding takes for another.
      this.pane.go(Math.ceil(((f.wanted + 0.5) / f.fps + f.offset) * (this.pane.sum?.second ?? 60) + (this.pane.sum?.position ?? 0)), true);
    } else this.pane.paint();
  }

  /** The press that is nearest to the eye. */
  async nearest() {
    const k = Math.round(this.pane.frame);
    const of = this.pane.select('.only').value;
    const [a, b] = await Promise.all([
      this.pane.find({ what: 'press', at: String(k + 1), back: '1', of }), this.pane.find({ what: 'press', at: String(k), of }),
    ]);
    if (!a || !b) return a ?? b;
    return k - a.frame <= b.frame - k ? a : b;
  }

  /** Ties the video's frame to the press under the eye. */
  async match() {
    const f = this.pane.film;
    if (!f.on || f.fps === 0) return;
    const press = await this.nearest();
    if (!press) {
      this.pane.on.say('There is no press near the eye: move to one first.');
      return;
    }
    // The video's frame shows from its own beginning on what happened before.
    f.offset = press.at - f.at / f.fps;
    await send(takeURL(this.pane.take, 'video'), { name: f.name, size: f.size, rate: f.rate, offset: f.offset });
    this.pane.on.say(`Matched: the video’s frame ${f.at} is the press at ${clock(press.at, 3)}. Kept with the take.`);
    this.pane.go(press.frame);
    this.words();
  }

  words() {
    const f = this.pane.film;
    this.pane.q('.match').hidden = !f.on;
    this.pane.q('.match-do').hidden = f.matched;
    this.pane.q('.match-free').hidden = !f.matched;
    this.pane.q('.match-how').textContent = f.matched
      ? 'Video and take move together, the video by its own frames.'
      : 'Put the eye on a press, step the video to the frame that first shows the same press, and say that they are the same.';
    this.pane.paint();
  }

  async open() {
    const input = /** @type {HTMLInputElement} */ (this.pane.q('.video-file'));
    const file = input.files?.[0];
    if (!file || !this.pane.sum) return;
    try {
      await this.pane.film.open(file);
    } catch (e) {
      this.pane.film.close();
      this.pane.on.say(`${file.name}: ${e instanceof Error ? e.message : e}`);
      return;
    }
    const known = this.pane.sum.videos.find((v) => v.name === file.name && (v.size === 0 || v.size === file.size));
    if (known) {
      this.pane.film.offset = known.offset;
      if (known.rate) this.pane.film.set(known.rate);
    }
    const rate = this.pane.select('.video-rate');
    fill(rate, [...new Set([...RATES.map(([n]) => n), this.pane.film.rate])].map((n) => [n, n]), this.pane.film.rate);
    this.pane.q('.video-rate-by').hidden = false;
    this.pane.scrub.resize();
    this.words();
    if (this.pane.film.matched) this.pane.go(this.pane.frame);
    else this.pane.film.frame(0);
  }
}
