// Paints threads: woven, slack and kinked ones, the warp ahead, cuts, the shuttle
// and the arrows of directions.

import { THREAD } from './scene.js';

/**
 * @typedef {import('./scene.js').Scene} Scene
 * @typedef {import('./scene.js').Box} Box
 * @typedef {import('../lib/types.js').Theme} Theme
 * @typedef {import('./options.js').StripOptions} StripOptions
 */

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Theme} theme
 */
export function bands(ctx, scene, theme) {
  const list = scene.bands;
  ctx.fillStyle = theme.colour.halo;
  for (let i = 0; i < list.n; i++) {
    const b = list.items[i];
    ctx.fillRect(b.x, b.y, b.w, b.h);
  }
}


/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Theme} theme
 * @param {StripOptions} o
 * @param {number} halo
 */
export function threads(ctx, scene, theme, o, halo) {
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
      warp(ctx, b, theme, thick, v, halo);
    } else {
      wave(ctx, b, theme, thick, v, halo, b.style === THREAD.kinked, scene.digit);
    }
  }
}


/**
 * The thread that is still to be woven: short stitches far apart.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {Theme} theme
 * @param {number} thick
 * @param {boolean} v
 * @param {number} halo
 */
function warp(ctx, b, theme, thick, v, halo) {
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
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {Theme} theme
 * @param {number} thick
 * @param {boolean} v
 * @param {number} halo
 * @param {boolean} kinked
 * @param {number} digit
 */
function wave(ctx, b, theme, thick, v, halo, kinked, digit) {
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
 * Time left out: two slanted strokes on each thread and on the hem.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Theme} theme
 * @param {StripOptions} o
 * @param {number} halo
 */
export function cuts(ctx, scene, theme, o, halo) {
  const list = scene.cuts;
  for (let i = 0; i < list.n; i++) {
    const b = list.items[i];
    // The thread ends and goes on.
    ctx.fillStyle = theme.colour.halo;
    ctx.fillRect(b.x - b.r * 0.8, b.y - b.r * 0.8, b.r * 1.6, b.r * 1.6);
    for (let pass = 0; pass < 2; pass++) {
      ctx.strokeStyle = pass === 0 ? theme.colour.halo : theme.colour.tick;
      ctx.lineWidth = (pass === 0 ? 2 * halo : 0) + 2 * o.scale;
      ctx.beginPath();
      for (let s = -0.7; s <= 0.7; s += 1.4) {
        const d = s * b.r;
        if (scene.vertical) {
          ctx.moveTo(b.x - b.r * 1.5, b.y + d + b.r * 0.5);
          ctx.lineTo(b.x + b.r * 1.5, b.y + d - b.r * 0.5);
        } else {
          ctx.moveTo(b.x + d - b.r * 0.5, b.y + b.r * 1.5);
          ctx.lineTo(b.x + d + b.r * 0.5, b.y - b.r * 1.5);
        }
      }
      ctx.stroke();
    }
  }
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Theme} theme
 * @param {StripOptions} o
 * @param {number} halo
 */
export function shuttle(ctx, scene, theme, o, halo) {
  const s = scene.shuttle;
  if (!s.on) return;
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
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Theme} theme
 * @param {number} halo
 */
export function arrows(ctx, scene, theme, halo) {
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
