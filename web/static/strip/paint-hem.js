// Paints the hem: ticks, the clasps of windows, holes, hatched bars, the arches of
// targets; and the shapes of a streak.

import { dash, NONE, TURN } from './paint-beads.js';
import { BRACKET } from './scene.js';

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
 * @param {number} halo
 */
export function ticks(ctx, scene, theme, halo) {
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
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Theme} theme
 * @param {StripOptions} o
 * @param {number} halo
 */
export function brackets(ctx, scene, theme, o, halo) {
  const list = scene.brackets;
  const line = 3 * o.scale;
  for (let i = 0; i < list.n; i++) {
    const b = list.items[i];
    switch (b.style) {
      case BRACKET.sure:
        clasp(ctx, b, halo, theme.colour.halo, scene);
        clasp(ctx, b, 0, theme.colour.window, scene);
        break;
      case BRACKET.hit:
        arch(ctx, b, line + 2 * halo, theme.colour.halo, scene, false, false);
        arch(ctx, b, line, theme.colour.window, scene, false, true);
        break;
      case BRACKET.open:
        arch(ctx, b, line + 2 * halo, theme.colour.halo, scene, true, false);
        arch(ctx, b, line, theme.colour.window, scene, true, false);
        break;
      case BRACKET.missed:
        arch(ctx, b, line + 2 * halo, theme.colour.halo, scene, false, false);
        arch(ctx, b, line, theme.colour.hole, scene, false, false);
        break;
      case BRACKET.unsure:
        clasp(ctx, b, halo, theme.colour.halo, scene);
        dashes(ctx, b, theme.colour.window, line, scene);
        break;
      case BRACKET.hole:
        ctx.fillStyle = theme.colour.halo;
        ctx.fillRect(b.x, b.y + halo, b.w, b.h - 2 * halo);
        torn(ctx, b, theme.colour.hole, line, scene);
        break;
      default:
        ctx.fillStyle = theme.colour.halo;
        ctx.fillRect(b.x - halo, b.y - halo, b.w + 2 * halo, b.h + 2 * halo);
        hatch(ctx, b, theme.colour.hole, scene);
    }
  }
}


/**
 * A window's clasp: a plate hanging from the hem, with two feet that grip it.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {number} grow
 * @param {string} colour
 * @param {Scene} scene
 */
function clasp(ctx, b, grow, colour, scene) {
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
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {string} colour
 * @param {number} line
 * @param {Scene} scene
 */
function dashes(ctx, b, colour, line, scene) {
  ctx.strokeStyle = colour;
  ctx.lineWidth = line;
  ctx.setLineDash(dash(scene.digit));
  ctx.strokeRect(b.x + 1 + line / 2, b.y + line / 2, Math.max(b.w - 2 - line, 1), b.h - line);
  ctx.setLineDash(NONE);
}


/**
 * A hole between two windows: nothing but a stitched line above and below.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {string} colour
 * @param {number} line
 * @param {Scene} scene
 */
function torn(ctx, b, colour, line, scene) {
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
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {string} colour
 * @param {Scene} scene
 */
function hatch(ctx, b, colour, scene) {
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
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {number} line
 * @param {string} colour
 * @param {Scene} scene
 * @param {boolean} dashed
 * @param {boolean} filled
 */
function arch(ctx, b, line, colour, scene, dashed, filled) {
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
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Theme} theme
 * @param {StripOptions} o
 * @param {number} halo
 */
export function dots(ctx, scene, theme, o, halo) {
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
