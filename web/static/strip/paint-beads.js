// Paints beads, the thread wound on behind them, knots and pegs.

import { BEAD, KNOT } from './scene.js';

/** A whole turn, radians. */
export const TURN = Math.PI * 2;

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
 * @param {StripOptions} o
 * @param {number} halo
 */
export function beads(ctx, scene, theme, o, halo) {
  const list = scene.beads;
  const shape = theme.shape.bead;
  const open = o.mirror ? OPEN_BACK : OPEN_FRONT;
  tails(ctx, scene, theme, o, halo);
  if (scene.fine) {
    plain(ctx, scene, theme, o);
    return;
  }
  ctx.fillStyle = theme.colour.halo;
  for (let i = 0; i < list.n; i++) {
    const b = list.items[i];
    bead(ctx, b, halo, shape, scene, open);
  }
  ctx.fillStyle = theme.colour.bead;
  for (let i = 0; i < list.n; i++) {
    const b = list.items[i];
    if (b.style === BEAD.sure) bead(ctx, b, 0, shape, scene, open);
  }
  for (let i = 0; i < list.n; i++) {
    const b = list.items[i];
    if (b.style === BEAD.unsure) shell(ctx, b, theme, 3 * o.scale, scene);
    if (b.mark & 2) waist(ctx, b, theme, scene);
  }
}


/**
 * Beads of a fine strip: rectangles, a pixel apart from their neighbours.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Theme} theme
 * @param {StripOptions} o
 */
function plain(ctx, scene, theme, o) {
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
      shell(ctx, b, theme, 2 * o.scale, scene);
    }
    if (b.mark & 2) waist(ctx, b, theme, scene);
  }
}


/**
 * The thread wound on behind the bead of a long hold.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Theme} theme
 * @param {StripOptions} o
 * @param {number} halo
 */
function tails(ctx, scene, theme, o, halo) {
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
    if (b.mark === 0) stop(ctx, b, scene, o.mirror);
  }
}


/**
 * The end of a tail: a small stop, as high as half of what the bead stands out.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {Scene} scene
 * @param {boolean} mirror
 */
function stop(ctx, b, scene, mirror) {
  const t = scene.digit * 0.18;
  const out = scene.digit * 0.16;
  if (scene.vertical) ctx.fillRect(b.x - out, mirror ? b.y : b.y + b.h - t, b.w + 2 * out, t);
  else ctx.fillRect(mirror ? b.x : b.x + b.w - t, b.y - out, t, b.h + 2 * out);
}


/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {number} grow
 * @param {string} shape
 * @param {Scene} scene
 * @param {number[]} open
 */
function bead(ctx, b, grow, shape, scene, open) {
  outline(ctx, b, grow, shape, scene, open);
  ctx.fill();
}


/**
 * The outline of a bead, as the current path. A bead that is still held has no
 * end yet: it is cut straight there.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {number} grow
 * @param {string} shape
 * @param {Scene} scene
 * @param {number[]} open
 */
export function outline(ctx, b, grow, shape, scene, open) {
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
 * A bead whose count is not sure: hollow, its outline in stitches. They are laid
 * so that the corners are whole and the ends stay open, for a narrow bead's count.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {Theme} theme
 * @param {number} line
 * @param {Scene} scene
 */
export function shell(ctx, b, theme, line, scene) {
  const { x, y, w, h } = b;
  const long = scene.vertical ? h : w;
  const i = line / 2;
  const r = theme.shape.bead === 'square' ? 1 : Math.min(w, h) * 0.26;
  // Stitches along the sides: the first and last belong to the corners.
  const n = Math.max(2, Math.round(long / (scene.digit * 0.42)));
  const stitch = long / (2 * n - 1);
  const u = Math.max(scene.vertical ? w * 0.3 : stitch, r);
  const v = Math.max(scene.vertical ? stitch : h * 0.3, r);
  ctx.strokeStyle = theme.colour.bead;
  ctx.lineWidth = line;
  ctx.beginPath();
  ctx.moveTo(x + i, y + v);
  ctx.arcTo(x + i, y + i, x + u, y + i, r);
  ctx.lineTo(x + u, y + i);
  ctx.moveTo(x + w - u, y + i);
  ctx.arcTo(x + w - i, y + i, x + w - i, y + v, r);
  ctx.lineTo(x + w - i, y + v);
  ctx.moveTo(x + w - i, y + h - v);
  ctx.arcTo(x + w - i, y + h - i, x + w - u, y + h - i, r);
  ctx.lineTo(x + w - u, y + h - i);
  ctx.moveTo(x + u, y + h - i);
  ctx.arcTo(x + i, y + h - i, x + i, y + h - v, r);
  ctx.lineTo(x + i, y + h - v);
  for (let k = 1; k < n - 1; k++) {
    const a = 2 * k * stitch;
    if (scene.vertical) {
      ctx.moveTo(x + i, y + a);
      ctx.lineTo(x + i, y + a + stitch);
      ctx.moveTo(x + w - i, y + a);
      ctx.lineTo(x + w - i, y + a + stitch);
    } else {
      ctx.moveTo(x + a, y + i);
      ctx.lineTo(x + a + stitch, y + i);
      ctx.moveTo(x + a, y + h - i);
      ctx.lineTo(x + a + stitch, y + h - i);
    }
  }
  ctx.stroke();
}

/**
 * A waist: two notches where several presses were read as one hold.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} b
 * @param {Theme} theme
 * @param {Scene} scene
 */
function waist(ctx, b, theme, scene) {
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
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Theme} theme
 * @param {StripOptions} o
 * @param {number} halo
 */
export function knots(ctx, scene, theme, o, halo) {
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
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Theme} theme
 * @param {number} halo
 */
export function pegs(ctx, scene, theme, halo) {
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


const OPEN_FRONT = [1];
const OPEN_BACK = [0];
const corners = [0, 0, 0, 0];
/** @type {number[]} */
export const NONE = [];
const DASH = [0, 0];

/** @param {number} digit */
export function dash(digit) {
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
