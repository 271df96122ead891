// Where threads, beads, knots, pegs, gaps and directions go.

import { woven } from '../lib/state.js';
import { along, BEAD_TALL, BEAD_VERTICAL, beadTall, DIGIT_WIDE, FRONT, g, GAP_UP, headAlong, place, PLATE_TALL, point, pressEnd, SURE, TAIL_TALL, text, threadAt, WHOLE } from './geometry.js';
import { about, BEAD, count, KNOT, TEXT, THREAD } from './scene.js';

/**
 * @typedef {import('../lib/state.js').State} State
 * @typedef {import('../lib/types.js').Press} Press
 * @typedef {import('./options.js').StripOptions} StripOptions
 * @typedef {import('./scene.js').Scene} Scene
 * @typedef {(text: string) => number} Measure  width of a text in ems
 */

/**
 * The bare thread of a button: woven up to the head, warp beyond.
 * @param {Scene} scene
 * @param {number} row
 */
export function thread(scene, row) {
  const c = threadAt(row);
  const t = place(scene.threads.add(), g.gutter, c, headAlong() - g.gutter, 0);
  t.style = THREAD.woven;
  if (headAlong() < g.length - 1) {
    const w = place(scene.threads.add(), headAlong(), c, g.length - headAlong(), 0);
    w.style = THREAD.warp;
  }
}

/**
 * @param {Scene} scene
 * @param {State} state
 * @param {number} f
 * @param {StripOptions} o
 * @param {number} first row of the first button
 * @param {Measure} measure
 */
export function presses(scene, state, f, o, first, measure) {
  const list = state.presses;
  for (let i = list.length - 1; i >= 0; i--) {
    const p = list[i];
    if (p.first - 1 > f) continue;
    const row = scene.rows.indexOf(p.b);
    if (row < 0) continue;
    const end = pressEnd(p, f);
    const a1 = along(state, end - 1);
    if (a1 < g.gutter) {
      if (woven(state, p.first) < g.edge - 3 * g.frames) break;
      continue;
    }
    press(scene, state, p, f, o, first + row, measure);
  }
}

/**
 * @param {Scene} scene
 * @param {State} state
 * @param {Press} p
 * @param {number} f
 * @param {StripOptions} o
 * @param {number} row
 * @param {Measure} measure
 */
function press(scene, state, p, f, o, row, measure) {
  const c = threadAt(row);
  let a0 = along(state, p.first - 1);
  const out = a0 < g.gutter;
  if (p.state === 'pending' || p.state === 'unseen' || p.first > f) {
    const k = point(scene.knots.add(), a0 + g.per / 2, c);
    k.style = p.state === 'unseen' ? KNOT.unseen : KNOT.pending;
    k.r = Math.min(g.digit * 0.36, g.per * 0.48);
    return;
  }
  if (p.gap >= 0) gap(scene, state, p, c, o, measure);
  const end = pressEnd(p, f);
  const open = p.state === 'down' || p.first + p.hold > f + 1;
  const frames = open ? Math.min(Math.max(1, Math.floor(f) - p.first + 1), Math.max(p.hold, 1)) : p.hold;
  const a1 = Math.max(along(state, end - 1), a0 + 1);
  const tall = beadTall();
  // A long hold is a bead of two frames, with thread wound on behind it.
  const whole = a1 - a0 <= WHOLE * g.per + 0.01;
  // Where the front has left the strip, the bead stays at its old end.
  if (!whole) a0 = Math.min(Math.max(a0, g.gutter + 0.1 * g.digit), Math.max(a0, a1 - 1));
  const front = whole ? a1 : Math.min(a0 + frontLength(frames, measure), a1);
  const b = place(scene.beads.add(), a0, c - tall / 2, front - a0, tall);
  const sure = open || (p.hold_sure ?? 1) >= SURE;
  b.style = sure ? BEAD.sure : BEAD.unsure;
  b.mark = (open && whole ? 1 : 0) | ((p.merged ?? 0) > 0 ? 2 : 0);
  if (!whole && front < a1) {
    const t = place(scene.tails.add(), front - 1, c - (TAIL_TALL * tall) / 2, a1 - front + 1, TAIL_TALL * tall);
    t.style = b.style;
    t.mark = open ? 1 : 0;
  }
  if (o.holds) hold(scene, frames, sure, a0, a1, c, measure);
  if ((p.merged ?? 0) > 0) {
    const s = p.bounce ? MERGED_BOUNCE[Math.min(p.merged ?? 0, 8)] : MERGED[Math.min(p.merged ?? 0, 8)];
    text(scene.texts, s, a0 + Math.max(Math.min(a1 - a0, 2 * g.per) / 2, g.per / 2), c - 0.82 * g.digit, g.small, TEXT.plate, measure);
  }
  if (!out && p.keys && wantsFingers(state, p, o)) pegs(scene, p, a0, c, tall);
}

/**
 * Length of the bead of a long hold: two frames, or what its count needs.
 * @param {number} frames
 * @param {Measure} measure
 */
function frontLength(frames, measure) {
  if (g.vertical) return FRONT * g.per;
  return Math.max(FRONT * g.per, (measure(count(frames)) + 0.36) * g.digit);
}

const MERGED = ['', '×2', '×3', '×4', '×5', '×6', '×7', '×8', '×9'];
const MERGED_BOUNCE = MERGED.map((s) => `${s}?`);

/**
 * The count of a hold, near the front of its bead, where it stays while the bead grows.
 * @param {Scene} scene
 * @param {number} frames
 * @param {boolean} sure
 * @param {number} a0
 * @param {number} a1
 * @param {number} c
 * @param {Measure} measure
 */
function hold(scene, frames, sure, a0, a1, c, measure) {
  const unsure = about(frames);
  const s = !sure && measure(unsure) * g.digit <= a1 - a0 - 2 ? unsure : count(frames);
  const half = measure(s) * g.digit / 2;
  const wide = a1 - a0 <= WHOLE * g.per + 0.01 ? a1 - a0 : frontLength(frames, measure);
  let a = a0 + Math.max(wide / 2, half + 0.12 * g.digit);
  const inside = g.gutter + half + 0.16 * g.digit;
  if (a < inside) a = inside; // part has left the strip: the count stays with what is left
  if (a + half > a1 + 0.1 * g.digit && a0 < g.gutter + 0.2 * g.digit) return;
  const t = point(scene.counts.add(), a, c);
  t.text = s;
  t.r = g.vertical ? Math.min(g.digit, (0.94 * beadTall()) / measure(s)) : g.digit;
  t.style = sure ? TEXT.bead : TEXT.hollow;
}

/** @param {State} state @param {Press} p @param {StripOptions} o */
function wantsFingers(state, p, o) {
  if (o.fingers !== 'auto') return o.fingers === 'on';
  return state.setup !== null && (state.setup.buttons[p.b]?.keys ?? 0) > 1;
}

/**
 * Which keys made a press: pegs at the front of the bead, each key with its own
 * place (top, bottom, middle) and its own shape.
 * @param {Scene} scene
 * @param {Press} p
 * @param {number} a0
 * @param {number} c
 * @param {number} tall
 */
function pegs(scene, p, a0, c, tall) {
  const keys = p.keys ?? [];
  const r = Math.min(0.2 * g.digit, g.per * 0.3);
  for (let i = 0; i < keys.length; i++) {
    const key = keys[i];
    const b = point(scene.pegs.add(), a0 + 0.5 * r, c + PEG_AT[key % 4] * (tall / 2));
    b.r = r;
    b.style = key % 4;
    b.mark = key >= 4 ? 1 : 0;
  }
}

const PEG_AT = [-1, 1, 0, -0.5];

/**
 * The bare thread between two beads, with its count above and the spacing below.
 * @param {Scene} scene
 * @param {State} state
 * @param {Press} p the later press
 * @param {number} c
 * @param {StripOptions} o
 * @param {Measure} measure
 */
function gap(scene, state, p, c, o, measure) {
  const a1 = along(state, p.first - 1);
  const a0 = along(state, p.first - 1 - p.gap);
  if (a1 < g.gutter) return;
  const sure = (p.gap_sure ?? 1) >= SURE;
  if (p.gap > 0 && (p.bounce || !sure)) {
    const t = place(scene.threads.add(), a0, c, a1 - a0, 0);
    t.style = p.bounce ? THREAD.kinked : THREAD.slack;
  }
  if (o.spacings) spacing(scene, state, p, a1, c, measure);
  if (p.gap === 0 || !o.gaps) return;
  const room = a1 - a0 + 0.3 * g.per;
  let s = count(p.gap);
  if (p.bounce) s = DOUBTED[Math.min(p.gap, DOUBTED.length - 1)];
  else if (!sure && measure(about(p.gap)) * g.digit <= room) s = about(p.gap);
  const mid = (a0 + a1) / 2;
  if (mid - g.gutter > 0.3 * g.digit) {
    text(scene.texts, s, mid, c - upFor(s, measure), g.digit, TEXT.plate, measure);
  }
}

/**
 * Frames from the press before to this one, below the thread, between two ticks.
 * @param {Scene} scene
 * @param {State} state
 * @param {Press} p
 * @param {number} a1
 * @param {number} c
 * @param {Measure} measure
 */
function spacing(scene, state, p, a1, c, measure) {
  const before = pressBefore(state, p);
  if (!before) return;
  const a0 = along(state, before.first - 1);
  const at = c + (BEAD_TALL / 2 + 0.52) * g.digit;
  const line = place(scene.ticks.add(), a0, at - 1, a1 - a0, 2);
  line.style = 1;
  place(scene.ticks.add(), a0, at - 0.3 * g.digit, 2, 0.3 * g.digit);
  place(scene.ticks.add(), a1 - 2, at - 0.3 * g.digit, 2, 0.3 * g.digit);
  if ((a0 + a1) / 2 - g.gutter < 0.4 * g.digit) return;
  text(scene.texts, count(p.first - before.first), (a0 + a1) / 2, at, g.digit * 0.8, TEXT.plate, measure);
}

/**
 * The press of the same button that was read before.
 * @param {State} state
 * @param {Press} p
 */
function pressBefore(state, p) {
  for (let i = state.presses.length - 1; i >= 0; i--) {
    const q = state.presses[i];
    if (q.id < p.id && q.b === p.b && q.state !== 'unseen' && q.state !== 'pending') return q;
  }
  return null;
}

const DOUBTED = Array.from({ length: 100 }, (_, i) => `${i}?`);

/** How far above its thread a gap's count stands. Beside it in a vertical strip. @param {string} s @param {Measure} measure */
function upFor(s, measure) {
  return g.vertical ? Math.max(GAP_UP * g.digit, (BEAD_VERTICAL / 2 + measure(s) / 2 + 0.14) * g.digit) : GAP_UP * g.digit;
}

/**
 * @param {Scene} scene
 * @param {State} state
 * @param {number} f
 * @param {StripOptions} o
 * @param {number} row
 */
export function directions(scene, state, f, o, row) {
  const c = threadAt(row);
  thread(scene, row);
  const list = state.directions;
  let end = g.head;
  let next = Infinity;
  for (let i = list.length - 1; i >= 0; i--) {
    const d = list[i];
    if (d.first > f) continue;
    const a0 = along(state, d.first - 1);
    const a1 = next === Infinity ? along(state, end) : along(state, next - 1);
    if (a1 < g.gutter) break;
    if (d.num !== 5) {
      const t = place(scene.threads.add(), a0, c, a1 - a0, 0);
      t.style = THREAD.held;
    }
    let a = a0 + g.per / 2;
    const inside = g.gutter + 0.4 * g.digit;
    if (a < inside) {
      a = inside; // its start has left the strip: the number stays with what is left
      if (d.num !== 5 && a1 - inside < 0.4 * g.digit) {
        next = end = d.first;
        continue;
      }
    }
    if (d.num === 5) {
      const k = point(scene.knots.add(), a0 + g.per / 2, c);
      k.style = KNOT.ring;
      k.r = Math.min(g.digit * 0.2, g.per * 0.36);
    } else if (o.direction === 'arrows') {
      const b = point(scene.arrows.add(), a, c);
      b.style = d.num;
      b.r = Math.min(g.digit * 0.46, g.per * 0.62);
    } else {
      const b = point(scene.texts.add(), a, c);
      b.text = count(d.num);
      b.r = g.digit;
      b.style = TEXT.direction;
      b.w = DIGIT_WIDE * 1.16 * g.digit;
      b.h = PLATE_TALL * g.digit;
    }
    next = d.first;
    end = d.first;
  }
}
