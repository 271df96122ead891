// Draws a scene on a canvas in a theme's colours. Everything has a casing in the
// theme's halo colour, or stands on a plate of it, so that it can be read on any
// scene; what a thing means is told by its shape, its place and its number.

import { BEAD, BRACKET, KNOT, TEXT, THREAD } from './scene.js';

/**
 * @typedef {import('./scene.js').Scene} Scene
 * @typedef {import('./scene.js').Box} Box
 * @typedef {import('../lib/types.js').Theme} Theme
 * @typedef {import('./options.js').StripOptions} StripOptions
 * @typedef {import('../lib/flash.js').Governor} Governor
 */

const TURN = Math.PI * 2;
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
    this.bands(scene, theme);
    this.threads(scene, theme, o, halo);
    this.ticks(scene, theme, halo);
    this.cuts(scene, theme, o, halo);
    this.brackets(scene, theme, o, halo);
    this.shuttle(scene, theme, o, halo);
    this.beads(scene, theme, o, halo);
    this.knots(scene, theme, o, halo);
    this.texts(scene.counts, theme);
    if (!scene.fine) this.plates(scene.texts, theme, false);
    this.texts(scene.texts, theme);
    this.pegs(scene, theme, halo);
    this.arrows(scene, theme, halo);
    this.flashes(scene, theme, governor, frameMS, state, false);
    ctx.restore();
    this.font = '';
    this.plates(scene.labels, theme, scene.fine);
    this.texts(scene.labels, theme);
    this.dots(scene, theme, o, halo);
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
   * @param {Scene} scene
   * @param {Theme} theme
   */
  bands(scene, theme) {
    const { ctx } = this;
    const list = scene.bands;
    ctx.fillStyle = theme.colour.halo;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      ctx.fillRect(b.x, b.y, b.w, b.h);
    }
  }

  /**
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {StripOptions} o
   * @param {number} halo
   */
  threads(scene, theme, o, halo) {
    const { ctx } = this;
    const list = scene.threads;
    const thick = theme.size.thread * o.scale;
    const v = scene.vertical;
    ctx.fillStyle = theme.colour.halo;
    for (let i = 0; i < list.n && !scene.fine; i++) {
      const b = list.items[i];
      if (b.style === THREAD.woven || b.style === THREAD.held) {
        const t = (b.style === THREAD.held ? 3 * thick : thick) / 2 + halo;
        if (v) ctx.fillRect(b.x - t, b.y, 2 * t, b.h);
        else ctx.fillRect(b.x, b.y - t, b.w, 2 * t);
      }
    }
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      if (b.style === THREAD.woven) {
        ctx.fillStyle = theme.colour.thread;
        if (v) ctx.fillRect(b.x - thick / 2, b.y, thick, b.h);
        else ctx.fillRect(b.x, b.y - thick / 2, b.w, thick);
      } else if (b.style === THREAD.held) {
        ctx.fillStyle = theme.colour.direction;
        const t = 1.5 * thick;
        if (v) ctx.fillRect(b.x - t, b.y, 2 * t, b.h);
        else ctx.fillRect(b.x, b.y - t, b.w, 2 * t);
      } else if (b.style === THREAD.warp) {
        this.warp(b, theme, thick, v, halo);
      } else {
        this.wave(b, theme, thick, v, halo, b.style === THREAD.kinked, scene.digit);
      }
    }
  }

  /**
   * The thread that is still to be woven: short stitches far apart.
   * @param {Box} b
   * @param {Theme} theme
   * @param {number} thick
   * @param {boolean} v
   * @param {number} halo
   */
  warp(b, theme, thick, v, halo) {
    const { ctx } = this;
    const pitch = 9 * thick;
    const dash = 1.6 * thick;
    const long = v ? b.h : b.w;
    const casing = halo * 0.6;
    // Counted from the far end, so that stitches stand still while the head comes on.
    for (let a = pitch / 2; a < long - dash; a += pitch) {
      const at = (v ? b.y : b.x) + long - a - dash;
      ctx.fillStyle = theme.colour.halo;
      if (v) ctx.fillRect(b.x - thick / 2 - casing, at - casing, thick + 2 * casing, dash + 2 * casing);
      else ctx.fillRect(at - casing, b.y - thick / 2 - casing, dash + 2 * casing, thick + 2 * casing);
      ctx.fillStyle = theme.colour.thread;
      if (v) ctx.fillRect(b.x - thick / 2, at, thick, dash);
      else ctx.fillRect(at, b.y - thick / 2, dash, thick);
    }
  }

  /**
   * A slack thread (a gap that is not sure) or a kinked one (perhaps switch bounce).
   * @param {Box} b
   * @param {Theme} theme
   * @param {number} thick
   * @param {boolean} v
   * @param {number} halo
   * @param {boolean} kinked
   * @param {number} digit
   */
  wave(b, theme, thick, v, halo, kinked, digit) {
    const { ctx } = this;
    const long = v ? b.h : b.w;
    const high = digit * 0.22;
    const n = Math.max(1, Math.round(long / (digit * 0.8)));
    const step = long / n;
    ctx.beginPath();
    const x0 = b.x;
    const y0 = b.y;
    ctx.moveTo(x0, y0);
    for (let i = 0; i < n; i++) {
      const a = i * step;
      if (kinked) {
        if (v) {
          ctx.lineTo(x0 - high, y0 + a + step / 4);
          ctx.lineTo(x0 + high, y0 + a + (3 * step) / 4);
          ctx.lineTo(x0, y0 + a + step);
        } else {
          ctx.lineTo(x0 + a + step / 4, y0 - high);
          ctx.lineTo(x0 + a + (3 * step) / 4, y0 + high);
          ctx.lineTo(x0 + a + step, y0);
        }
      } else if (v) {
        ctx.bezierCurveTo(x0 + high * 2.2, y0 + a + step / 3, x0 - high * 2.2, y0 + a + (2 * step) / 3, x0, y0 + a + step);
      } else {
        ctx.bezierCurveTo(x0 + a + step / 3, y0 + high * 2.2, x0 + a + (2 * step) / 3, y0 - high * 2.2, x0 + a + step, y0);
      }
    }
    ctx.strokeStyle = theme.colour.halo;
    ctx.lineWidth = thick + 2 * halo;
    ctx.stroke();
    ctx.strokeStyle = theme.colour.thread;
    ctx.lineWidth = thick;
    ctx.stroke();
  }

  /**
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {number} halo
   */
  ticks(scene, theme, halo) {
    const { ctx } = this;
    const list = scene.ticks;
    const c = halo * 0.7;
    ctx.fillStyle = theme.colour.halo;
    for (let i = 0; i < list.n && !scene.fine; i++) {
      const b = list.items[i];
      ctx.fillRect(b.x - c, b.y - c, b.w + 2 * c, b.h + 2 * c);
    }
    ctx.fillStyle = theme.colour.tick;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      ctx.fillRect(b.x, b.y, b.w, b.h);
    }
  }

  /**
   * Time left out: a slanted cut through threads and hem.
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {StripOptions} o
   * @param {number} halo
   */
  cuts(scene, theme, o, halo) {
    const { ctx } = this;
    const list = scene.cuts;
    const v = scene.vertical;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      for (let pass = 0; pass < 2; pass++) {
        ctx.strokeStyle = pass === 0 ? theme.colour.halo : theme.colour.tick;
        ctx.lineWidth = (pass === 0 ? 2 * halo : 0) + 2 * o.scale;
        ctx.beginPath();
        for (let s = -0.5; s <= 0.5; s++) {
          const d = s * b.r * 1.6;
          if (v) {
            ctx.moveTo(b.x, b.y + d + b.r);
            ctx.lineTo(b.x + b.w, b.y + d - b.r);
          } else {
            ctx.moveTo(b.x + d + b.r, b.y);
            ctx.lineTo(b.x + d - b.r, b.y + b.h);
          }
        }
        ctx.stroke();
      }
    }
  }

  /**
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {StripOptions} o
   * @param {number} halo
   */
  brackets(scene, theme, o, halo) {
    const { ctx } = this;
    const list = scene.brackets;
    const line = 3 * o.scale;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      switch (b.style) {
        case BRACKET.sure:
          this.clasp(b, halo, theme.colour.halo, scene);
          this.clasp(b, 0, theme.colour.window, scene);
          break;
        case BRACKET.hit:
          this.arch(b, line + 2 * halo, theme.colour.halo, scene, false, false);
          this.arch(b, line, theme.colour.window, scene, false, true);
          break;
        case BRACKET.open:
          this.arch(b, line + 2 * halo, theme.colour.halo, scene, true, false);
          this.arch(b, line, theme.colour.window, scene, true, false);
          break;
        case BRACKET.missed:
          this.arch(b, line + 2 * halo, theme.colour.halo, scene, false, false);
          this.arch(b, line, theme.colour.hole, scene, false, false);
          break;
        case BRACKET.unsure:
          this.clasp(b, halo, theme.colour.halo, scene);
          this.dashes(b, theme.colour.window, line, scene);
          break;
        case BRACKET.hole:
          ctx.fillStyle = theme.colour.halo;
          ctx.fillRect(b.x, b.y + halo, b.w, b.h - 2 * halo);
          this.torn(b, theme.colour.hole, line, scene);
          break;
        default:
          ctx.fillStyle = theme.colour.halo;
          ctx.fillRect(b.x - halo, b.y - halo, b.w + 2 * halo, b.h + 2 * halo);
          this.hatch(b, theme.colour.hole, scene);
      }
    }
  }

  /**
   * A window's clasp: a plate hanging from the hem, with two feet that grip it.
   * @param {Box} b
   * @param {number} grow
   * @param {string} colour
   * @param {Scene} scene
   */
  clasp(b, grow, colour, scene) {
    const { ctx } = this;
    ctx.fillStyle = colour;
    const foot = scene.digit * 0.16;
    const up = scene.digit * 0.3;
    if (scene.vertical) {
      ctx.fillRect(b.x - grow, b.y + 1 - grow, b.w + 2 * grow, b.h - 2 + 2 * grow);
      ctx.fillRect(b.x - up - grow, b.y + 1 - grow, up + 2 * grow, foot + 2 * grow);
      ctx.fillRect(b.x - up - grow, b.y + b.h - 1 - foot - grow, up + 2 * grow, foot + 2 * grow);
    } else {
      ctx.fillRect(b.x + 1 - grow, b.y - grow, b.w - 2 + 2 * grow, b.h + 2 * grow);
      ctx.fillRect(b.x + 1 - grow, b.y - up - grow, foot + 2 * grow, up + 2 * grow);
      ctx.fillRect(b.x + b.w - 1 - foot - grow, b.y - up - grow, foot + 2 * grow, up + 2 * grow);
    }
  }

  /**
   * The same clasp where the verdict is not sure: only its outline, in stitches.
   * @param {Box} b
   * @param {string} colour
   * @param {number} line
   * @param {Scene} scene
   */
  dashes(b, colour, line, scene) {
    const { ctx } = this;
    ctx.strokeStyle = colour;
    ctx.lineWidth = line;
    ctx.setLineDash(dash(scene.digit));
    ctx.strokeRect(b.x + 1 + line / 2, b.y + line / 2, Math.max(b.w - 2 - line, 1), b.h - line);
    ctx.setLineDash(NONE);
  }

  /**
   * A hole between two windows: nothing but a stitched line above and below.
   * @param {Box} b
   * @param {string} colour
   * @param {number} line
   * @param {Scene} scene
   */
  torn(b, colour, line, scene) {
    const { ctx } = this;
    const n = 2;
    ctx.fillStyle = colour;
    for (let i = 0; i < n; i++) {
      if (scene.vertical) {
        const w = b.h / (2 * n);
        ctx.fillRect(b.x + line, b.y + w * (2 * i + 0.5), line, w);
        ctx.fillRect(b.x + b.w - 2 * line, b.y + w * (2 * i + 0.5), line, w);
      } else {
        const w = b.w / (2 * n);
        ctx.fillRect(b.x + w * (2 * i + 0.5), b.y + line, w, line * 0.8);
        ctx.fillRect(b.x + w * (2 * i + 0.5), b.y + b.h - line * 1.8, w, line * 0.8);
      }
    }
  }

  /**
   * More presses than there is a plan for: a hatched bar.
   * @param {Box} b
   * @param {string} colour
   * @param {Scene} scene
   */
  hatch(b, colour, scene) {
    const { ctx } = this;
    ctx.fillStyle = colour;
    const pitch = scene.digit * 0.34;
    const long = scene.vertical ? b.h : b.w;
    for (let a = 0; a < long; a += pitch) {
      const w = Math.min(pitch * 0.55, long - a);
      if (scene.vertical) ctx.fillRect(b.x, b.y + a, b.w, w);
      else ctx.fillRect(b.x + a, b.y, w, b.h);
    }
  }

  /**
   * A target's window: an arch standing on the hem.
   * @param {Box} b
   * @param {number} line
   * @param {string} colour
   * @param {Scene} scene
   * @param {boolean} dashed
   * @param {boolean} filled
   */
  arch(b, line, colour, scene, dashed, filled) {
    const { ctx } = this;
    const i = 2.5;
    ctx.beginPath();
    if (scene.vertical) {
      ctx.moveTo(b.x + b.w, b.y + i);
      ctx.lineTo(b.x, b.y + i);
      ctx.lineTo(b.x, b.y + b.h - i);
      ctx.lineTo(b.x + b.w, b.y + b.h - i);
    } else {
      ctx.moveTo(b.x + i, b.y + b.h);
      ctx.lineTo(b.x + i, b.y);
      ctx.lineTo(b.x + b.w - i, b.y);
      ctx.lineTo(b.x + b.w - i, b.y + b.h);
    }
    ctx.strokeStyle = colour;
    ctx.fillStyle = colour;
    ctx.lineWidth = line;
    if (dashed) ctx.setLineDash(dash(scene.digit));
    if (filled) ctx.fill();
    ctx.stroke();
    if (dashed) ctx.setLineDash(NONE);
  }

  /**
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {StripOptions} o
   * @param {number} halo
   */
  shuttle(scene, theme, o, halo) {
    const s = scene.shuttle;
    if (!s.on) return;
    const { ctx } = this;
    const t = o.scale;
    const c = halo * 0.7;
    ctx.fillStyle = theme.colour.halo;
    if (scene.vertical) ctx.fillRect(s.x, s.y - t - c, s.w, 2 * t + 2 * c);
    else ctx.fillRect(s.x - t - c, s.y, 2 * t + 2 * c, s.h);
    ctx.fillStyle = theme.colour.tick;
    if (scene.vertical) ctx.fillRect(s.x, s.y - t, s.w, 2 * t);
    else ctx.fillRect(s.x - t, s.y, 2 * t, s.h);
  }

  /**
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {StripOptions} o
   * @param {number} halo
   */
  beads(scene, theme, o, halo) {
    const { ctx } = this;
    const list = scene.beads;
    const shape = theme.shape.bead;
    const open = o.mirror ? OPEN_BACK : OPEN_FRONT;
    this.tails(scene, theme, o, halo);
    if (scene.fine) {
      this.plain(scene, theme, o);
      return;
    }
    ctx.fillStyle = theme.colour.halo;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      this.bead(b, halo, shape, scene, open);
    }
    ctx.fillStyle = theme.colour.bead;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      if (b.style === BEAD.sure) this.bead(b, 0, shape, scene, open);
    }
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      if (b.style === BEAD.unsure) this.shell(b, theme, 3 * o.scale, shape, scene, open);
      if (b.mark & 2) this.waist(b, theme, scene);
    }
  }

  /**
   * Beads of a fine strip: rectangles, a pixel apart from their neighbours.
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {StripOptions} o
   */
  plain(scene, theme, o) {
    const { ctx } = this;
    const { items, n } = scene.beads;
    const v = scene.vertical;
    ctx.fillStyle = theme.colour.bead;
    for (let i = 0; i < n; i++) {
      const b = items[i];
      if (b.style !== BEAD.sure) continue;
      if (v) ctx.fillRect(b.x, b.y, b.w, b.h - 1);
      else ctx.fillRect(b.x, b.y, b.w - 1, b.h);
    }
    for (let i = 0; i < n; i++) {
      const b = items[i];
      if (b.style === BEAD.unsure) {
        ctx.fillStyle = theme.colour.halo;
        ctx.fillRect(b.x, b.y, b.w, b.h);
        this.shell(b, theme, 2 * o.scale, 'square', scene, OPEN_FRONT);
      }
      if (b.mark & 2) this.waist(b, theme, scene);
    }
  }

  /**
   * The thread wound on behind the bead of a long hold.
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {StripOptions} o
   * @param {number} halo
   */
  tails(scene, theme, o, halo) {
    const { ctx } = this;
    const list = scene.tails;
    const line = 3 * o.scale;
    ctx.fillStyle = theme.colour.halo;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      ctx.fillRect(b.x - halo, b.y - halo, b.w + 2 * halo, b.h + 2 * halo);
    }
    ctx.fillStyle = ctx.strokeStyle = theme.colour.bead;
    ctx.lineWidth = line;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      if (b.style === BEAD.sure) {
        ctx.fillRect(b.x, b.y, b.w, b.h);
      } else {
        ctx.setLineDash(dash(scene.digit));
        ctx.strokeRect(b.x + line / 2, b.y + line / 2, Math.max(b.w - line, 1), Math.max(b.h - line, 1));
        ctx.setLineDash(NONE);
      }
      if (b.mark === 0) this.stop(b, scene, o.mirror);
    }
  }

  /**
   * The end of a tail: a small stop, as high as half of what the bead stands out.
   * @param {Box} b
   * @param {Scene} scene
   * @param {boolean} mirror
   */
  stop(b, scene, mirror) {
    const { ctx } = this;
    const t = scene.digit * 0.18;
    const out = scene.digit * 0.16;
    if (scene.vertical) ctx.fillRect(b.x - out, mirror ? b.y : b.y + b.h - t, b.w + 2 * out, t);
    else ctx.fillRect(mirror ? b.x : b.x + b.w - t, b.y - out, t, b.h + 2 * out);
  }

  /**
   * @param {Box} b
   * @param {number} grow
   * @param {string} shape
   * @param {Scene} scene
   * @param {number[]} open
   */
  bead(b, grow, shape, scene, open) {
    this.outline(b, grow, shape, scene, open);
    this.ctx.fill();
  }

  /**
   * The outline of a bead, as the current path. A bead that is still held has no
   * end yet: it is cut straight there.
   * @param {Box} b
   * @param {number} grow
   * @param {string} shape
   * @param {Scene} scene
   * @param {number[]} open
   */
  outline(b, grow, shape, scene, open) {
    const { ctx } = this;
    const v = scene.vertical;
    const inset = 0.75; // so that beads of neighbouring frames stay two
    const x = b.x - grow + (v ? 0 : inset);
    const y = b.y - grow + (v ? inset : 0);
    const w = Math.max(b.w + 2 * grow - (v ? 0 : 2 * inset), 1);
    const h = Math.max(b.h + 2 * grow - (v ? 2 * inset : 0), 1);
    const held = b.mark & 1;
    ctx.beginPath();
    if (shape === 'facet') {
      const c = Math.min(0.24 * Math.min(v ? w : h, 1e9), (v ? h : w) / 2.4);
      const flatEnd = held ? 0 : c;
      // Corners: near end first, then the end that grows.
      const n = open === OPEN_FRONT ? c : flatEnd;
      const e = open === OPEN_FRONT ? flatEnd : c;
      if (v) {
        ctx.moveTo(x + n, y);
        ctx.lineTo(x + w - n, y);
        ctx.lineTo(x + w, y + n);
        ctx.lineTo(x + w, y + h - e);
        ctx.lineTo(x + w - e, y + h);
        ctx.lineTo(x + e, y + h);
        ctx.lineTo(x, y + h - e);
        ctx.lineTo(x, y + n);
      } else {
        ctx.moveTo(x, y + n);
        ctx.lineTo(x + n, y);
        ctx.lineTo(x + w - e, y);
        ctx.lineTo(x + w, y + e);
        ctx.lineTo(x + w, y + h - e);
        ctx.lineTo(x + w - e, y + h);
        ctx.lineTo(x + n, y + h);
        ctx.lineTo(x, y + h - n);
      }
      ctx.closePath();
      return;
    }
    const most = Math.min(w, h) / 2;
    const r = shape === 'square' ? Math.min(most, 3 + grow) : shape === 'round' ? most : most * 0.62;
    if (!held) {
      ctx.roundRect(x, y, w, h, r);
      return;
    }
    corners[0] = corners[1] = corners[2] = corners[3] = r;
    const a = v ? (open === OPEN_FRONT ? 2 : 0) : open === OPEN_FRONT ? 1 : 0;
    const c = v ? a + 1 : open === OPEN_FRONT ? 2 : 3;
    corners[a] = corners[c] = 0;
    ctx.roundRect(x, y, w, h, corners);
  }

  /**
   * A bead whose count is not sure: hollow, its outline in stitches.
   * @param {Box} b
   * @param {Theme} theme
   * @param {number} line
   * @param {string} shape
   * @param {Scene} scene
   * @param {number[]} open
   */
  shell(b, theme, line, shape, scene, open) {
    const { ctx } = this;
    ctx.strokeStyle = theme.colour.bead;
    ctx.lineWidth = line;
    ctx.setLineDash(dash(scene.digit));
    this.outline(b, -line / 2, shape, scene, open);
    ctx.stroke();
    ctx.setLineDash(NONE);
  }

  /**
   * A waist: two notches where several presses were read as one hold.
   * @param {Box} b
   * @param {Theme} theme
   * @param {Scene} scene
   */
  waist(b, theme, scene) {
    const { ctx } = this;
    const d = scene.digit * 0.17;
    ctx.fillStyle = theme.colour.halo;
    ctx.beginPath();
    if (scene.vertical) {
      const y = b.y + b.h / 2;
      ctx.moveTo(b.x - 1, y - d);
      ctx.lineTo(b.x + d * 1.1, y);
      ctx.lineTo(b.x - 1, y + d);
      ctx.moveTo(b.x + b.w + 1, y - d);
      ctx.lineTo(b.x + b.w - d * 1.1, y);
      ctx.lineTo(b.x + b.w + 1, y + d);
    } else {
      const x = b.x + b.w / 2;
      ctx.moveTo(x - d, b.y - 1);
      ctx.lineTo(x, b.y + d * 1.1);
      ctx.lineTo(x + d, b.y - 1);
      ctx.moveTo(x - d, b.y + b.h + 1);
      ctx.lineTo(x, b.y + b.h - d * 1.1);
      ctx.lineTo(x + d, b.y + b.h + 1);
    }
    ctx.fill();
  }

  /**
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {StripOptions} o
   * @param {number} halo
   */
  knots(scene, theme, o, halo) {
    const { ctx } = this;
    const list = scene.knots;
    const line = 3 * o.scale;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      const ring = b.style === KNOT.ring;
      ctx.beginPath();
      if (ring) ctx.arc(b.x, b.y, b.r, 0, TURN);
      else diamond(ctx, b.x, b.y, b.r);
      ctx.fillStyle = theme.colour.halo;
      ctx.strokeStyle = theme.colour.halo;
      ctx.lineWidth = line + 2 * halo;
      ctx.fill();
      ctx.stroke();
      ctx.strokeStyle = ring ? theme.colour.direction : theme.colour.mark;
      ctx.lineWidth = line;
      if (b.style === KNOT.pending) {
        ctx.fillStyle = theme.colour.mark;
        ctx.fill();
      }
      ctx.stroke();
    }
  }

  /**
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {number} halo
   */
  pegs(scene, theme, halo) {
    const { ctx } = this;
    const list = scene.pegs;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      ctx.beginPath();
      const r = b.r;
      switch (b.style) {
        case 0:
          ctx.arc(b.x, b.y, r, 0, TURN);
          break;
        case 1:
          ctx.rect(b.x - r * 0.9, b.y - r * 0.9, r * 1.8, r * 1.8);
          break;
        case 2:
          ctx.moveTo(b.x - r, b.y - r);
          ctx.lineTo(b.x + r, b.y);
          ctx.lineTo(b.x - r, b.y + r);
          ctx.closePath();
          break;
        default:
          diamond(ctx, b.x, b.y, r * 1.15);
      }
      ctx.strokeStyle = theme.colour.halo;
      ctx.lineWidth = 1.4 * halo;
      ctx.stroke();
      ctx.fillStyle = theme.colour.mark;
      ctx.fill();
      if (b.mark === 1) {
        ctx.fillStyle = theme.colour.halo;
        ctx.fillRect(b.x - r * 0.3, b.y - r * 0.3, r * 0.6, r * 0.6);
      }
    }
  }

  /**
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {number} halo
   */
  arrows(scene, theme, halo) {
    const { ctx } = this;
    const list = scene.arrows;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      const dx = ((b.style - 1) % 3) - 1;
      const dy = 1 - Math.floor((b.style - 1) / 3);
      const n = Math.hypot(dx, dy) || 1;
      arrow(ctx, b.x, b.y, b.r, dx / n, dy / n);
      ctx.strokeStyle = theme.colour.halo;
      ctx.fillStyle = theme.colour.halo;
      ctx.lineWidth = 2 * halo;
      ctx.stroke();
      ctx.fillStyle = theme.colour.direction;
      ctx.fill();
    }
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

  /**
   * @param {Scene} scene
   * @param {Theme} theme
   * @param {StripOptions} o
   * @param {number} halo
   */
  dots(scene, theme, o, halo) {
    const { ctx } = this;
    const list = scene.dots;
    const line = 2 * o.scale;
    for (let i = 0; i < list.n; i++) {
      const b = list.items[i];
      const { x, y, r } = b;
      ctx.beginPath();
      switch (b.style) {
        case 1:
          ctx.arc(x, y, r, 0, TURN);
          break;
        case 2:
          ctx.moveTo(x + r, y - r);
          ctx.lineTo(x - r, y);
          ctx.lineTo(x + r, y + r);
          ctx.closePath();
          break;
        case 3:
          ctx.moveTo(x - r, y - r);
          ctx.lineTo(x + r, y);
          ctx.lineTo(x - r, y + r);
          ctx.closePath();
          break;
        case 4:
          ctx.rect(x - r, y - r, r * 0.7, 2 * r);
          ctx.rect(x + r * 0.3, y - r, r * 0.7, 2 * r);
          break;
        default:
          ctx.rect(x - r, y - line / 2, 2 * r, line);
      }
      ctx.lineWidth = line + 1.6 * halo;
      ctx.strokeStyle = theme.colour.halo;
      ctx.stroke();
      ctx.fillStyle = ctx.strokeStyle = b.style === 1 ? theme.colour.window : theme.colour.hole;
      ctx.lineWidth = line;
      if (b.style === 1 || b.style === 5) ctx.fill();
      ctx.stroke();
    }
  }
}

const OPEN_FRONT = [1];
const OPEN_BACK = [0];
const corners = [0, 0, 0, 0];
/** @type {number[]} */
const NONE = [];
const DASH = [0, 0];

/** @param {number} digit */
function dash(digit) {
  DASH[0] = digit * 0.2;
  DASH[1] = digit * 0.13;
  return DASH;
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {number} x
 * @param {number} y
 * @param {number} r
 */
function diamond(ctx, x, y, r) {
  ctx.moveTo(x, y - r);
  ctx.lineTo(x + r, y);
  ctx.lineTo(x, y + r);
  ctx.lineTo(x - r, y);
  ctx.closePath();
}

/**
 * A broad arrow around a point, as the current path.
 * @param {CanvasRenderingContext2D} ctx
 * @param {number} x
 * @param {number} y
 * @param {number} r
 * @param {number} dx unit vector
 * @param {number} dy
 */
function arrow(ctx, x, y, r, dx, dy) {
  const px = -dy;
  const py = dx;
  ctx.beginPath();
  ctx.moveTo(x + dx * r, y + dy * r);
  ctx.lineTo(x + px * r * 0.9, y + py * r * 0.9);
  ctx.lineTo(x + px * r * 0.34, y + py * r * 0.34);
  ctx.lineTo(x - dx * r + px * r * 0.34, y - dy * r + py * r * 0.34);
  ctx.lineTo(x - dx * r - px * r * 0.34, y - dy * r - py * r * 0.34);
  ctx.lineTo(x - px * r * 0.34, y - py * r * 0.34);
  ctx.lineTo(x - px * r * 0.9, y - py * r * 0.9);
  ctx.closePath();
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
