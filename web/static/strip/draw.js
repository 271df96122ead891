// Draws a scene on a canvas in a theme's colours. Everything has a casing in the
// theme's halo colour, or stands on a plate of it, so that it can be read on any
// scene; what a thing means is told by its shape, its place and its number.

import { beads, knots, pegs } from './paint-beads.js';
import { brackets, dots, ticks } from './paint-hem.js';
import { arrows, bands, cuts, shuttle, threads } from './paint-threads.js';
import { TEXT } from './scene.js';

/**
 * @typedef {import('./scene.js').Scene} Scene
 * @typedef {import('./scene.js').Box} Box
 * @typedef {import('../lib/types.js').Theme} Theme
 * @typedef {import('./options.js').StripOptions} StripOptions
 * @typedef {import('../lib/flash.js').Governor} Governor
 */

/** Widths of counts that are drawn once and kept. */
const EMS = 100;

export class Painter {
  /** @param {HTMLCanvasElement} canvas */
  constructor(canvas) {
    this.canvas = canvas;
    const ctx = canvas.getContext('2d');
    if (!ctx) throw new Error('this browser has no 2D canvas');
    this.ctx = ctx;
    /** @type {Theme | null} */
    this.theme = null;
    this.family = '';
    /** @type {Map<string, number>} widths of texts, ems */
    this.widths = new Map();
    /** @type {Map<number, string>} font settings by size */
    this.fonts = new Map();
    this.cap = 0.668; // height of a digit, ems
    this.font = '';
    this.dpr = 1;
    /** @param {string} s */
    this.measure = (s) => this.width(s);
  }

  /** @param {Theme} theme */
  wear(theme) {
    this.theme = theme;
    this.family = `"${theme.font.family}", system-ui, sans-serif`;
    this.widths.clear();
    this.fonts.clear();
    this.ctx.font = `${theme.font.weight} ${EMS}px ${this.family}`;
    this.font = '';
    const m = this.ctx.measureText('0');
    this.cap = m.actualBoundingBoxAscent / EMS;
  }

  /**
   * Width of a text in ems.
   * @param {string} s
   */
  width(s) {
    let w = this.widths.get(s);
    if (w === undefined) {
      if (this.widths.size > 2000) this.widths.clear();
      const before = this.ctx.font;
      this.ctx.font = `${this.theme?.font.weight ?? 700} ${EMS}px ${this.family}`;
      w = this.ctx.measureText(s).width / EMS;
      this.ctx.font = before;
      this.widths.set(s, w);
    }
    return w;
  }

  /** @param {number} size px */
  face(size) {
    const key = Math.round(size * 4);
    let font = this.fonts.get(key);
    if (font === undefined) {
      if (this.fonts.size > 200) this.fonts.clear();
      font = `${this.theme?.font.weight ?? 700} ${key / 4}px ${this.family}`;
      this.fonts.set(key, font);
    }
    if (font !== this.font) {
      this.ctx.font = font;
      this.font = font;
    }
  }

  /**
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {StripOptions} o
   * @param {{w: number, h: number, dpr: number}} size
   * @param {Governor} governor
   * @param {number} frameMS
   * @param {import('../lib/state.js').State} state
   */
  draw(scene, theme, o, size, governor, frameMS, state) {
    const { ctx, canvas } = this;
    const w = Math.round(size.w * size.dpr);
    const h = Math.round(size.h * size.dpr);
    if (canvas.width !== w || canvas.height !== h) {
      canvas.width = w;
      canvas.height = h;
      this.font = '';
    }
    this.dpr = size.dpr;
    ctx.setTransform(size.dpr, 0, 0, size.dpr, 0, 0);
    ctx.clearRect(0, 0, size.w, size.h);
    const background = o.background === 'theme' ? theme.colour.background : o.background;
    if (background !== 'transparent') {
      ctx.fillStyle = background;
      ctx.fillRect(0, 0, size.w, size.h);
    }
    ctx.textAlign = 'center';
    ctx.textBaseline = 'alphabetic';
    ctx.lineJoin = 'round';
    ctx.lineCap = 'butt';

    const halo = theme.size.halo * o.scale * (scene.digit >= 20 ? 1 : 0.75);
    ctx.save();
    ctx.beginPath();
    ctx.rect(scene.clip.x, scene.clip.y, scene.clip.w, scene.clip.h);
    ctx.clip();
    this.flashes(scene, theme, governor, frameMS, state, true);
    bands(ctx, scene, theme);
    threads(ctx, scene, theme, o, halo);
    ticks(ctx, scene, theme, halo);
    cuts(ctx, scene, theme, o, halo);
    brackets(ctx, scene, theme, o, halo);
    shuttle(ctx, scene, theme, o, halo);
    beads(ctx, scene, theme, o, halo);
    knots(ctx, scene, theme, o, halo);
    this.texts(scene.counts, theme);
    if (!scene.fine) this.plates(scene.texts, theme, false);
    this.texts(scene.texts, theme);
    pegs(ctx, scene, theme, halo);
    arrows(ctx, scene, theme, halo);
    this.flashes(scene, theme, governor, frameMS, state, false);
    ctx.restore();
    this.font = '';
    this.plates(scene.labels, theme, scene.fine);
    this.texts(scene.labels, theme);
    dots(ctx, scene, theme, o, halo);
    this.plates(scene.notes, theme, scene.fine);
    this.texts(scene.notes, theme);
  }

  /**
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {Governor} governor
   * @param {number} frameMS
   * @param {import('../lib/state.js').State} state
   * @param {boolean} fills the fills go under everything, the outlines over it
   */
  flashes(scene, theme, governor, frameMS, state, fills) {
    const { ctx } = this;
    const list = scene.flashes;
    if (list.n === 0) return;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      if (b.mark === 0) this.leave(list, i, theme, governor, frameMS, state);
      if (b.mark === 1 && fills) {
        ctx.globalAlpha = b.level;
        ctx.fillStyle = theme.colour.flash;
        const r = Math.min(b.w, b.h) * 0.3;
        ctx.beginPath();
        ctx.roundRect(b.x, b.y, b.w, b.h, r);
        ctx.fill();
      } else if (b.mark === 2 && !fills) {
        ctx.globalAlpha = b.level < 1 ? b.level : 1;
        const r = Math.min(b.w, b.h) * 0.3;
        ctx.beginPath();
        ctx.roundRect(b.x + 2, b.y + 2, Math.max(b.w - 4, 1), Math.max(b.h - 4, 1), r);
        ctx.strokeStyle = theme.colour.halo;
        ctx.lineWidth = 6;
        ctx.stroke();
        ctx.strokeStyle = theme.colour.flash;
        ctx.lineWidth = 3;
        ctx.stroke();
      }
    }
    ctx.globalAlpha = 1;
  }

  /**
   * Asks the governor for all boxes of one flash together. mark: 1 fill, 2 outline, 3 none.
   * @param {import('./scene.js').Boxes} list
   * @param {number} from
   * @param {Theme} theme
   * @param {Governor} governor
   * @param {number} frameMS
   * @param {import('../lib/state.js').State} state
   */
  leave(list, from, theme, governor, frameMS, state) {
    const { key } = list.items[from];
    let area = 0;
    for (let i = from; i < list.n; i++) {
      const b = list.items[i];
      if (b.key === key) area += b.w * b.h;
    }
    let at = 0;
    for (let i = 0; i < state.flashes.length; i++) if (state.flashes[i].key === key) at = state.flashes[i].f * frameMS;
    const leave = governor.ask(key, at, area, theme.colour.flash);
    const mark = leave === 'fill' ? 1 : leave === 'outline' ? 2 : 3;
    for (let i = from; i < list.n; i++) if (list.items[i].key === key) list.items[i].mark = mark;
  }

  /**
   * @param {import('./scene.js').Boxes} list
   * @param {Theme} theme
   * @param {boolean} fine
   */
  plates(list, theme, fine) {
    const { ctx } = this;
    const square = fine || theme.shape.plate === 'square';
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      if (b.w === 0) continue;
      ctx.fillStyle = b.style === TEXT.note ? theme.colour.note : theme.colour.halo;
      if (square) {
        ctx.fillRect(b.x - b.w / 2, b.y - b.h / 2, b.w, b.h);
      } else {
        ctx.beginPath();
        ctx.roundRect(b.x - b.w / 2, b.y - b.h / 2, b.w, b.h, b.h * 0.28);
        ctx.fill();
      }
    }
  }

  /**
   * @param {import('./scene.js').Boxes} list
   * @param {Theme} theme
   */
  texts(list, theme) {
    const { ctx } = this;
    let colour = '';
    let size = -1;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      const c = ink(b.style, theme);
      if (c !== colour) {
        colour = c;
        ctx.fillStyle = c;
      }
      if (b.r !== size) {
        size = b.r;
        this.face(size);
      }
      ctx.fillText(b.text, b.x, Math.round((b.y + (this.cap * b.r) / 2) * this.dpr) / this.dpr);
    }
  }

}

/**
 * @param {number} style
 * @param {Theme} theme
 */
function ink(style, theme) {
  switch (style) {
    case TEXT.bead:
      return theme.colour.bead_text;
    case TEXT.hollow:
      return theme.colour.text;
    case TEXT.window:
      return theme.colour.window_text;
    case TEXT.hole:
      return theme.colour.hole;
    case TEXT.direction:
      return theme.colour.direction;
    case TEXT.note:
      return theme.colour.note_text;
    default:
      return theme.colour.text;
  }
}
