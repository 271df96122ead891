// One take on the page: the cloth under the eye, ways to move, figures, moments,
// and what it is judged by.

import { WORDS, clock, date, el, get, long, send, takeURL } from './api.js';
import { Beside } from './beside.js';
import { Film } from './film.js';
import { Moments } from './moments.js';
import { Plot } from './plots.js';
import { Scrub } from './scrub.js';
import { fill, lengthsTable, patternTable, rateTables } from './tables.js';
import { Trial } from './trial.js';
import { drawWhole } from './whole.js';

/** @typedef {import('./api.js').Summary} Summary */
/** @typedef {import('./api.js').Moment} Moment */

const FORMATS = [
  ['edges', 'edges (CSV)'], ['presses', 'presses (CSV)'], ['outcomes', 'outcomes (CSV)'], ['json', 'everything (JSON)'],
  ['vtt', 'text track (WebVTT)'], ['chapters', 'chapters (ffmpeg)'],
];
const MOST_THREADS = 8;

export class Pane {
  /**
   * @param {HTMLTemplateElement} template
   * @param {string} take
   * @param {{say: (s: string) => void, closed: (p: Pane) => void, moved: (p: Pane) => void, changed: () => void}} on
   */
  constructor(template, take, on) {
    this.take = take;
    this.on = on;
    const root = /** @type {HTMLElement} */ (/** @type {DocumentFragment} */ (template.content.cloneNode(true)).firstElementChild);
    this.root = root;
    /** @type {Record<string, string>} what is tried */
    this.query = {};
    /** @type {Summary | null} */
    this.sum = null;
    this.frame = 0;
    this.playing = 0; // request of the next animation frame, 0 for none
    this.loom = this.q('.loom');
    this.scrub = new Scrub(/** @type {HTMLCanvasElement} */ (this.q('.cloth')), this.q('.eye'), on.say);
    this.scrub.arrived = () => this.paint();
    this.film = new Film(this.q('.film'), /** @type {HTMLVideoElement} */ (this.q('video')));
    this.plots = { hold: new Plot(this.q('.hold')), gap: new Plot(this.q('.gap')), spacing: new Plot(this.q('.spacing')), trend: new Plot(this.q('.trend')) };
    this.dark = matchMedia('(prefers-color-scheme: dark)');
    this.wear = () => {
      this.scrub.wear(this.dark.matches).catch((e) => on.say(e.message));
      if (this.sum) this.figures(this.sum);
      this.paint();
    };
    this.dark.addEventListener('change', this.wear);
    this.sizes = new ResizeObserver(() => {
      this.scrub.resize();
      this.paintWhole();
    });
    this.sizes.observe(root);
    this.list = new Moments(this);
    this.trial = new Trial(this);
    this.beside = new Beside(this);
    this.wire();
  }

  /** @param {string} s @returns {HTMLElement} */
  q(s) {
    const e = this.root.querySelector(s);
    if (!(e instanceof HTMLElement)) throw new Error(`the page has no ${s}`);
    return e;
  }

  /** @param {string} s */
  select(s) {
    return /** @type {HTMLSelectElement} */ (this.q(s));
  }

  close() {
    this.pause();
    this.film.close();
    this.sizes.disconnect();
    this.dark.removeEventListener('change', this.wear);
    for (const p of Object.values(this.plots)) p.close();
    this.scrub.stop.abort();
    this.root.remove();
  }

  /** Fetches the take, judged as asked for, and shows it. @param {number} [at] frame */
  async load(at) {
    const s = /** @type {Summary} */ (await get(this.take, 'summary', this.query));
    const before = this.sum;
    const when = before ? this.seconds(this.frame) : NaN;
    this.sum = s;
    this.head(s);
    this.threads();
    this.scrub.show(this.take, this.query, this.labels(), s.buttons.some((b) => b.role !== 'action'), s.second);
    await this.scrub.wear(this.dark.matches);
    this.figures(s);
    this.trial.show(s);
    this.list.choices(s);
    if (at !== undefined && Number.isFinite(at)) this.go(at);
    else if (before) this.go(this.frameAt(when));
    else await this.first(s);
    await this.list.fill(true);
  }

  /** Begins where something happens. @param {Summary} s */
  async first(s) {
    this.go(s.first);
    const m = await this.find({ what: 'press', at: String(s.first - 2) });
    if (m) this.go(m.frame);
  }

  /** Seconds from the take's first moment to a frame. @param {number} f */
  seconds(f) {
    return this.sum ? (f - this.sum.position) / this.sum.second : 0;
  }

  /** The frame that reads a time. @param {number} t seconds */
  frameAt(t) {
    return this.sum ? Math.ceil(t * this.sum.second + this.sum.position - 1e-6) : 0;
  }

  /** Labels of the buttons that have a thread. */
  labels() {
    if (!this.sum) return [];
    const only = this.select('.only').value;
    if (only) return [only];
    const actions = this.sum.buttons.filter((b) => b.role === 'action');
    const most = [...actions].sort((a, b) => b.presses - a.presses).slice(0, MOST_THREADS);
    return actions.filter((b) => most.includes(b)).map((b) => b.label);
  }

  threads() {
    const s = this.sum;
    if (!s) return;
    fill(this.select('.only'), [['', 'all'], ...s.buttons.filter((b) => b.role === 'action').map((b) => /** @type {[string, string]} */ ([b.label, b.label]))]);
  }

  /** @param {Summary} s */
  head(s) {
    const title = this.q('h2');
    title.textContent = s.name;
    const name = s.settings[s.judging.settings - 1]?.profile ?? '';
    this.q('.pane-what').textContent = [date(s.start), long(s.seconds), name, `${s.edges} edges`, s.devices.join(', ')].filter(Boolean).join(' · ');
    const notes = [...s.notes];
    if (s.demo) notes.unshift('The performer of the demo plays in this take, not a person.');
    this.q('.notes').replaceChildren(...notes.map((n) => el('li', n)));
    fill(this.select('.export-as'), /** @type {[string, string][]} */ (FORMATS));
    this.loom.setAttribute('aria-label', `${s.name}, frame by frame`);
    this.loom.setAttribute('aria-valuemin', '0');
    this.loom.setAttribute('aria-valuemax', String(s.last - s.first));
  }

  /** @param {Summary} s */
  figures(s) {
    this.q('.rates-here').replaceChildren(rateTables(s));
    const fig = this.q('.trend-fig');
    fig.hidden = s.trend.length < 2;
    if (!fig.hidden) {
      this.q('.trend-fig figcaption').textContent = `Within the take: how often ${WORDS[s.trend[0].rate.kind] ?? ''}, by parts of it, with the 95 % interval`;
      this.plots.trend.rates(s.trend.map((p) => ({ x: p.at, rate: p.rate })), { time: false, label: 'time in the take' });
    }
    const buttons = s.buttons.filter((b) => b.presses > 0);
    const most = buttons.filter((b) => b.role === 'action').sort((a, b) => b.quick_gap.n - a.quick_gap.n || b.presses - a.presses)[0];
    const sel = this.select('.lengths-button');
    fill(sel, buttons.map((b) => [b.label, b.label]), sel.value || most?.label);
    this.lengths();
    this.q('.patterns').replaceChildren(patternTable(s));
    this.paintWhole();
  }

  lengths() {
    const b = this.sum?.buttons.find((x) => x.label === this.select('.lengths-button').value);
    if (!b) return;
    const unit = /** @type {'frames' | 'ms'} */ (this.select('.lengths-unit').value);
    const parts = /** @type {[Plot, import('./api.js').Dist, string, string][]} */ ([
      [this.plots.hold, b.hold, 'Holds', '.hold'], [this.plots.gap, b.gap, 'Gaps', '.gap'], [this.plots.spacing, b.spacing, 'Spacings, press to press', '.spacing'],
    ]);
    for (const [plot, d, name, cls] of parts) {
      const over = unit === 'frames' ? d.over_frames : d.over_ms;
      const middle = unit === 'frames' ? (d.median_frames < 0 ? '' : `, median ${d.median_frames}`) : d.median_ms ? `, median ${d.median_ms.toFixed(1)}` : '';
      const caption = this.q(cls).previousElementSibling;
      if (caption) caption.textContent = `${name}: ${d.n}${middle}${over ? `; ${over} longer than shown` : ''}`;
      plot.bars(unit === 'frames' ? d.frames : d.ms, unit);
    }
    this.q('.lengths-table').replaceChildren(lengthsTable(b));
  }

  /** @param {Record<string, string>} q @returns {Promise<Moment | undefined>} */
  async find(q) {
    const r = await get(this.take, 'find', { ...this.query, ...q });
    return r.moments[0];
  }

  /** Puts the eye on a frame. @param {number} f @param {boolean} [fromVideo] */
  go(f, fromVideo = false) {
    const s = this.sum;
    if (!s) return;
    this.frame = Math.max(s.first - 2, Math.min(f, s.last + 2));
    this.scrub.go(this.frame);
    if (this.film.matched && !fromVideo) this.film.show(this.seconds(Math.round(this.frame)));
    this.paint();
    this.on.moved(this);
  }

  paint() {
    const s = this.sum;
    if (!s) return;
    const k = Math.round(this.frame);
    let text = `frame ${k - s.first} of ${s.last - s.first}, ${clock(this.seconds(k), 3)}`;
    if (this.film.on) text += ` · video frame ${this.film.at}${this.film.matched ? '' : ', not matched yet'}`;
    this.q('.where').textContent = text;
    this.loom.setAttribute('aria-valuenow', String(k - s.first));
    this.loom.setAttribute('aria-valuetext', `${text}. ${this.describe(k)}`);
    this.q('.what-here').textContent = this.describe(k);
    this.paintWhole();
  }

  /** What the frame holds, in words. @param {number} k */
  describe(k) {
    const st = this.scrub.state;
    const labels = st.setup?.buttons ?? [];
    const out = [];
    for (const p of st.presses) {
      if (p.state === 'unseen' && p.first === k) out.push(`${labels[p.b]?.label}: a press that no frame saw`);
      else if (p.first <= k && p.first + p.hold > k) {
        out.push(`${labels[p.b]?.label} down, frame ${k - p.first + 1} of ${p.hold}${p.gap >= 0 ? ` after a gap of ${p.gap}` : ''}${p.merged ? `, ${p.merged} merged into it` : ''}`);
      }
    }
    for (const o of st.outcomes) if (o.words && o.open <= k && o.close >= k) out.push(`window: ${o.words}`);
    return out.join('; ') || 'nothing is down';
  }

  paintWhole() {
    if (!this.sum) return;
    const whole = /** @type {HTMLCanvasElement} */ (this.q('.whole-cloth'));
    if (whole.clientWidth === 0) return;
    drawWhole(whole, this.sum, this.seconds(this.frame), this.scrub.frames / this.sum.second);
    whole.setAttribute('aria-label', `${long(this.sum.seconds)} of play, ${this.sum.buttons.reduce((n, b) => n + b.presses, 0)} presses`);
  }

  pause() {
    if (this.playing) cancelAnimationFrame(this.playing);
    this.playing = 0;
    this.film.video.pause();
    this.scrub.options.guard = false;
    this.q('[data-do="play"]').textContent = 'Play';
  }

  play() {
    const s = this.sum;
    if (!s) return;
    if (this.frame >= s.last) this.go(s.first);
    const speed = () => Number(this.select('.speed').value);
    // What runs past at more than half speed may flicker: the strip is pulled then.
    this.scrub.options.guard = speed() > 0.5;
    this.q('[data-do="play"]').textContent = 'Stop';
    let before = performance.now();
    const film = this.film;
    const withFilm = () => film.matched && speed() >= 0.1 && film.video.currentTime < film.video.duration && this.seconds(this.frame) >= film.offset;
    let rolling = false;
    const step = (/** @type {number} */ now) => {
      const dt = Math.min(now - before, 100) / 1000;
      before = now;
      if (withFilm()) {
        if (!rolling) {
          rolling = true;
          film.wanted = -1;
          film.video.currentTime = Math.max(this.seconds(this.frame) - film.offset, 0);
          film.video.play().catch(() => this.pause());
        }
        film.video.playbackRate = speed();
        const t = (film.frameOf(film.video.currentTime) + 0.5) / film.fps + film.offset;
        this.go(t * s.second + s.position, true);
      } else {
        if (rolling) film.video.pause();
        rolling = false;
        this.go(this.frame + dt * s.second * speed(), film.matched && speed() < 0.1 ? false : !film.matched);
      }
      if (this.frame >= s.last) {
        this.pause();
        return;
      }
      this.playing = requestAnimationFrame(step);
    };
    this.playing = requestAnimationFrame(step);
  }

  /** @param {string} what */
  async do(what) {
    const s = this.sum;
    if (!s) return;
    const k = Math.round(this.frame);
    if (what === 'play') {
      if (this.playing) this.pause();
      else this.play();
      return;
    }
    this.pause();
    if (what === 'frame-on') this.go(k + 1);
    else if (what === 'frame-back') this.go(k - 1);
    else if (what === 'home') this.go(s.first);
    else if (what === 'end') this.go(s.last);
    else if (what === 'video-on' || what === 'video-back') this.beside.step(what === 'video-on' ? 1 : -1);
    else {
      const back = what.endsWith('-back');
      const kind = what.startsWith('miss') ? 'miss' : 'press';
      const only = this.select('.only').value;
      const m = await this.find({ what: kind, at: String(k), back: back ? '1' : '0', of: kind === 'press' ? only : '' });
      if (m) this.go(m.frame);
      else this.on.say(`${kind === 'miss' ? 'No miss' : 'No press'} ${back ? 'before' : 'after'} this.`);
    }
  }

  /** @param {Event} e */
  async mark(e) {
    e.preventDefault();
    const input = /** @type {HTMLInputElement} */ (this.q('.mark-text'));
    const text = input.value.trim() || 'mark';
    const at = this.seconds(Math.round(this.frame));
    input.value = '';
    await this.setMark(at, text);
    this.on.say(`Marked at ${clock(at, 2)}.`);
  }

  /** Sets a mark, or takes it away with an empty text. @param {number} at seconds @param {string} text */
  async setMark(at, text) {
    await send(takeURL(this.take, 'mark'), { at, text });
    this.sum = /** @type {Summary} */ (await get(this.take, 'summary', this.query));
    this.paint();
    if (this.select('.moments-what').value === 'mark') await this.list.fill(true);
  }

  wire() {
    const guard = (/** @type {() => any} */ f) => () => Promise.resolve(f()).catch((e) => this.on.say(e instanceof Error ? e.message : String(e)));
    this.root.addEventListener('click', (e) => {
      const b = e.target instanceof Element ? e.target.closest('[data-do]') : null;
      if (b instanceof HTMLElement) guard(() => this.do(b.dataset.do ?? ''))();
    });
    const keys = /** @type {Record<string, string>} */ ({ ArrowRight: 'frame-on', ArrowLeft: 'frame-back', ArrowDown: 'miss-on', ArrowUp: 'miss-back', Home: 'home', End: 'end', ' ': 'play', ',': 'video-back', '.': 'video-on' });
    this.loom.addEventListener('keydown', (e) => {
      if (e.ctrlKey || e.altKey || e.metaKey) return;
      if (e.key === 'm' || e.key === 'M') {
        e.preventDefault();
        this.q('.mark-text').focus();
        return;
      }
      let what = keys[e.key];
      if (!what) return;
      e.preventDefault();
      if (e.shiftKey && e.key === 'ArrowRight') what = 'press-on';
      if (e.shiftKey && e.key === 'ArrowLeft') what = 'press-back';
      guard(() => this.do(what))();
    });
    this.drag(this.loom, (from, x0, x1) => from - (x1 - x0) / Math.max(this.scrub.scene.perFrame, 1), (x) => Math.round(this.scrub.frameAt(x) + 0.5));
    this.drag(this.q('.whole-cloth'), null, (x) => this.frameAt(((x - 4) / (this.q('.whole-cloth').clientWidth - 8)) * (this.sum?.seconds ?? 0)));
    this.loom.addEventListener('wheel', (e) => {
      if (!e.shiftKey && Math.abs(e.deltaX) <= Math.abs(e.deltaY)) return; // the page scrolls
      e.preventDefault();
      this.pause();
      this.go(this.frame + Math.sign(e.deltaX || e.deltaY));
    }, { passive: false });
    const change = (/** @type {string} */ s, /** @type {() => any} */ f) => this.q(s).addEventListener('change', guard(f));
    change('.only', () => this.scrub.thread(this.labels(), this.sum?.buttons.some((b) => b.role !== 'action') ?? false));
    change('.speed', () => {
      if (this.playing) {
        this.pause();
        this.play();
      }
    });
    change('.lengths-button', () => this.lengths());
    change('.lengths-unit', () => this.lengths());
    change('.moments-what', () => {
      this.list.kinds();
      return this.list.fill(true);
    });
    change('.moments-kind', () => this.list.fill(true));
    change('.moments-button', () => this.list.fill(true));
    change('.video-file', () => this.beside.open());
    change('.video-rate', () => {
      this.film.set(this.select('.video-rate').value);
      this.beside.words();
    });
    const click = (/** @type {string} */ s, /** @type {() => any} */ f) => this.q(s).addEventListener('click', guard(f));
    click('.lengths-most', () => [this.plots.hold, this.plots.gap, this.plots.spacing].forEach((p) => p.again()));
    click('.lengths-all', () => [this.plots.hold, this.plots.gap, this.plots.spacing].forEach((p) => p.everything()));
    click('.moments-more', () => this.list.fill(false));
    click('.as-recorded', () => this.trial.judge({}));
    click('.match-do', () => this.beside.match());
    click('.match-free', () => {
      this.film.offset = NaN;
      this.beside.words();
    });
    click('.close', () => this.on.closed(this));
    click('.export', () => {
      const a = /** @type {HTMLAnchorElement} */ (el('a'));
      a.href = takeURL(this.take, 'export', { ...this.query, as: this.select('.export-as').value });
      a.click();
    });
    click('.forget', async () => {
      if (!confirm(`Delete the take “${this.take}” for good?`)) return;
      await send(takeURL(this.take, 'forget'), { text: this.take });
      this.on.closed(this);
      this.on.changed();
    });
    this.q('.try').addEventListener('submit', (e) => this.trial.submit(e));
    this.q('.mark-form').addEventListener('submit', (e) => {
      e.preventDefault();
      guard(() => this.mark(e))();
    });
  }

  /**
   * Moves the eye by pointer.
   * @param {HTMLElement} e
   * @param {((from: number, x0: number, x1: number) => number) | null} pull null goes where the pointer is
   * @param {(x: number) => number} to where a click goes
   */
  drag(e, pull, to) {
    let from = 0;
    let x0 = 0;
    let moved = false;
    e.addEventListener('pointerdown', (ev) => {
      if (ev.button !== 0) return;
      this.pause();
      e.setPointerCapture(ev.pointerId);
      from = this.frame;
      x0 = ev.offsetX;
      moved = false;
      if (!pull) this.go(to(ev.offsetX));
    });
    e.addEventListener('pointermove', (ev) => {
      if (!e.hasPointerCapture(ev.pointerId)) return;
      moved = moved || Math.abs(ev.offsetX - x0) > 3;
      if (!pull) this.go(to(ev.offsetX));
      else if (moved) this.go(pull(from, x0, ev.offsetX));
    });
    e.addEventListener('pointerup', (ev) => {
      if (!e.hasPointerCapture(ev.pointerId)) return;
      e.releasePointerCapture(ev.pointerId);
      if (pull && !moved) this.go(to(ev.offsetX));
      else this.go(Math.round(this.frame));
    });
  }
}
