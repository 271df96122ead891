// The strip under the pointer: any part of a take, drawn as live by the strip's own
// layout and painter. What it shows is fetched in parts and kept for a while.

import { Governor } from '../lib/flash.js';
import { apply, createState } from '../lib/state.js';
import { loadTheme } from '../lib/theme.js';
import { Painter } from '../strip/draw.js';
import { layout } from '../strip/layout.js';
import { readOptions } from '../strip/options.js';
import { Scene } from '../strip/scene.js';
import { get } from './api.js';

/** @typedef {import('../lib/types.js').Update} Update */

const PART = 1200; // frames of a part
const PARTS = 12; // parts kept
const LEAST = 0.6; // seconds that the strip's layout shows at least
const AHEAD = 0.34; // of the strip, beyond the eye

export class Scrub {
  /**
   * @param {HTMLCanvasElement} canvas
   * @param {HTMLElement} eye the cell that is looked at
   * @param {(text: string) => void} trouble
   */
  constructor(canvas, eye, trouble) {
    this.canvas = canvas;
    this.eye = eye;
    this.trouble = trouble;
    this.painter = new Painter(canvas);
    this.scene = new Scene();
    this.options = readOptions('?rest=0&motion=scroll&background=theme&flash=off&counts=holds,gaps,windows');
    this.governor = new Governor({ style: 'off' });
    this.size = { w: 0, h: 0, dpr: 1 };
    /** @type {import('../lib/types.js').Theme | null} */
    this.theme = null;
    this.take = '';
    this.second = 60; // frames
    /** @type {Record<string, string>} */
    this.query = {};
    /** @type {Map<number, Update | null>} null while it is fetched */
    this.parts = new Map();
    this.at = 0;
    /** The frames that state holds. */
    this.built = { from: 0, to: -1, parts: '' };
    this.state = createState(Infinity);
    this.frames = 80;
    this.draws = 0;
    this.stop = new AbortController();
    /** Called when something has come. */
    this.arrived = () => {};
  }

  /** @param {boolean} dark */
  async wear(dark) {
    this.theme = await loadTheme(dark ? 'lantern' : 'linen', 0);
    this.painter.wear(this.theme);
    this.canvas.parentElement?.style.setProperty('--eye', this.theme.colour.text);
    this.resize();
  }

  /**
   * Shows another take, or the same judged otherwise.
   * @param {string} take
   * @param {Record<string, string>} query
   * @param {string[]} buttons labels with a thread
   * @param {boolean} turned whether there are directions
   * @param {number} second frames
   */
  show(take, query, buttons, turned, second) {
    this.second = second;
    this.stop.abort();
    this.stop = new AbortController();
    this.take = take;
    this.query = query;
    this.parts.clear();
    this.built.to = this.built.from - 1;
    this.thread(buttons, turned);
  }

  /** @param {string[]} buttons @param {boolean} turned */
  thread(buttons, turned) {
    this.options.buttons = buttons.length > 0 ? buttons : null;
    this.rows = Math.max(buttons.length, 1) + (turned ? 1 : 0);
    this.resize();
  }

  resize() {
    const box = this.canvas.parentElement;
    if (!box) return;
    const w = Math.max(box.clientWidth, 60);
    this.frames = Math.max(Math.ceil(this.second * LEAST), Math.min(120, Math.round(w / 15)));
    // As tall as the digits need that fit into a frame's width; labels take some of it.
    const digit = Math.min(this.theme?.size.digit ?? 28, (w * 0.86) / this.frames / 0.62);
    const h = Math.round(Math.min(digit * (1.9 * (this.rows ?? 1) + 3.4), 620));
    this.size.w = w;
    this.size.h = h;
    this.size.dpr = window.devicePixelRatio || 1;
    this.canvas.style.height = `${h}px`;
    this.options.frames = this.frames;
    this.draw();
  }

  /** @param {number} f frame looked at, with a fraction */
  go(f) {
    this.at = f;
    this.draw();
  }

  /** Frames of a strip before the eye and after it. */
  reach() {
    const ahead = Math.round(this.frames * AHEAD);
    return { before: this.frames - ahead, ahead };
  }

  draw() {
    if (!this.theme || !this.take || this.size.w === 0) return;
    const { ahead } = this.reach();
    const head = this.at + ahead;
    this.build(Math.floor(head - this.frames - 120), Math.ceil(head + 30));
    layout(this.scene, this.state, head, this.options, this.size, this.theme, this.painter.measure, NO_NOTES);
    this.painter.draw(this.scene, this.theme, this.options, this.size, this.governor, 1000 / 60, this.state);
    // The shuttle stands at the head; the eye looks at the cell before its frame.
    const per = this.scene.perFrame;
    const x = this.scene.shuttle.x - (head - Math.round(this.at)) * per - per;
    this.eye.style.transform = `translateX(${x}px)`;
    this.eye.style.width = `${per}px`;
    this.draws++;
  }

  /** The frame under a place of the canvas. @param {number} x px from its left edge */
  frameAt(x) {
    const { ahead } = this.reach();
    return this.at + ahead - (this.scene.shuttle.x - x) / Math.max(this.scene.perFrame, 1);
  }

  /**
   * Puts what is known of some frames into the state, and asks for the rest.
   * @param {number} from
   * @param {number} to
   */
  build(from, to) {
    const first = Math.floor(from / PART);
    const last = Math.floor(to / PART);
    let ready = '';
    for (let i = first; i <= last; i++) {
      const p = this.parts.get(i);
      if (p === undefined) this.fetch(i);
      else if (p) ready += `${i} `;
    }
    if (from >= this.built.from && to <= this.built.to && ready === this.built.parts) return;
    const slack = 240;
    this.built = { from: from - slack, to: to + slack, parts: ready };
    /** @type {Update} */
    const u = { v: 1, n: 0, f: to, whole: true, presses: [], multis: [], directions: [], outcomes: [] };
    const seen = { presses: new Set(), multis: new Set(), directions: new Set(), outcomes: new Set() };
    for (let i = first; i <= last; i++) {
      const p = this.parts.get(i);
      if (!p) continue;
      u.setup = p.setup;
      u.status = p.status;
      for (const e of p.presses ?? []) if (near(e.first, e.first + Math.max(e.hold, 1), this.built)) once(seen.presses, e, u.presses);
      for (const e of p.multis ?? []) if (near(e.first, e.first + 60, this.built)) once(seen.multis, e, u.multis);
      for (const e of p.directions ?? []) if (e.first <= this.built.to) once(seen.directions, e, u.directions);
      for (const e of p.outcomes ?? []) if (near(e.open, e.close, this.built)) once(seen.outcomes, e, u.outcomes);
    }
    u.directions = lately(u.directions ?? [], this.built.from);
    apply(this.state, u);
  }

  /** @param {number} i */
  async fetch(i) {
    this.parts.set(i, null);
    const { signal } = this.stop;
    try {
      const u = await get(this.take, 'view', { ...this.query, from: String(i * PART), to: String((i + 1) * PART - 1) }, signal);
      if (signal.aborted) return;
      this.parts.set(i, u);
      while (this.parts.size > PARTS) {
        let far = i;
        const here = Math.floor(this.at / PART);
        for (const k of this.parts.keys()) if (Math.abs(k - here) > Math.abs(far - here)) far = k;
        if (far === i) break;
        this.parts.delete(far);
      }
      this.draw();
      this.arrived();
    } catch (e) {
      if (signal.aborted) return;
      this.parts.delete(i);
      this.trouble(e instanceof Error ? e.message : String(e));
    }
  }

  /** Whether everything in sight has come. */
  get ready() {
    const { ahead } = this.reach();
    for (let f = this.at + ahead - this.frames; f <= this.at + ahead + PART; f += PART) {
      if (!this.parts.get(Math.floor(Math.min(f, this.at + ahead) / PART))) return false;
    }
    return true;
  }
}

/** @type {string[]} */
const NO_NOTES = [];

/** @param {number} a @param {number} b @param {{from: number, to: number}} r */
const near = (a, b, r) => b >= r.from && a <= r.to;

/**
 * @template {{id: number}} T
 * @param {Set<number>} seen
 * @param {T} e
 * @param {T[] | null | undefined} list
 */
function once(seen, e, list) {
  if (seen.has(e.id)) return;
  seen.add(e.id);
  list?.push(e);
}

/**
 * Directions from the one in force at a frame on.
 * @param {import('../lib/types.js').Direction[]} list
 * @param {number} from
 */
function lately(list, from) {
  list.sort((a, b) => a.id - b.id);
  let i = 0;
  while (i + 1 < list.length && list[i + 1].first <= from) i++;
  return list.slice(i);
}
