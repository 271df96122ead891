// Where labels, the word that tells what is not live, troubles and the streak go.

import { BRACKET_TALL, cased, corner, DIRECTION_LABEL, g, headAlong, place, point, scratch, snap, standing, text, threadAt, TICK_TALL } from './geometry.js';
import { count, TEXT } from './scene.js';

/**
 * @typedef {import('../lib/state.js').State} State
 * @typedef {import('../lib/types.js').Theme} Theme
 * @typedef {import('./options.js').StripOptions} StripOptions
 * @typedef {import('./scene.js').Scene} Scene
 * @typedef {(text: string) => number} Measure  width of a text in ems
 */

/**
 * @param {Scene} scene
 * @param {State} state
 * @param {Theme} theme
 * @param {Measure} measure
 * @param {boolean} turned
 * @param {number} first
 */
export function labels(scene, state, theme, measure, turned, first) {
  const buttons = state.setup ? state.setup.buttons : [];
  const room = g.vertical ? g.row * 0.96 : g.gutter - 0.5 * g.digit;
  if (turned) label(scene, DIRECTION_LABEL, threadAt(0), room, measure);
  for (let i = 0; i < scene.rows.length; i++) {
    label(scene, cased(buttons[scene.rows[i]].label, theme), threadAt(first + i), room, measure);
  }
}

/**
 * @param {Scene} scene
 * @param {string} s
 * @param {number} c
 * @param {number} room
 * @param {Measure} measure
 */
function label(scene, s, c, room, measure) {
  let size = g.small;
  const w = measure(s);
  if (w * size > room) size = Math.max(size * 0.7, room / w);
  let shown = s;
  while (shown.length > 1 && measure(shown) * size > room + 1) shown = `${shown.slice(0, -2)}…`;
  const half = (measure(shown) * size) / 2;
  const a = g.vertical ? g.small * 0.75 : g.gutter - 0.34 * g.digit - half;
  text(scene.labels, shown, a, c, size, TEXT.plate, measure);
}

/** @param {Scene} scene */
export function shuttle(scene) {
  const top = threadAt(0) - 0.5 * g.digit;
  const b = place(scratch, headAlong(), top, 0, g.hem - top);
  scene.shuttle.x = b.x;
  scene.shuttle.y = b.y;
  scene.shuttle.w = b.w;
  scene.shuttle.h = b.h;
  scene.shuttle.on = headAlong() < g.length - 1;
}

/**
 * What must be said: demo, replay or paused at the end of the hem; troubles and
 * wrong options in the corner; the streak.
 * @param {Scene} scene
 * @param {State} state
 * @param {StripOptions} o
 * @param {Theme} theme
 * @param {string[]} notes
 * @param {Measure} measure
 */
export function told(scene, state, o, theme, notes, measure) {
  const word = standing(state, theme);
  const size = g.small;
  if (word) {
    const w = measure(word) * size + 0.5 * size;
    const c = g.hem + TICK_TALL * g.digit + BRACKET_TALL * g.digit * 0.43;
    const room = g.vertical || !o.labels ? 0 : (g.gutter - w) / 2;
    const b = scene.notes.add();
    b.text = word;
    b.r = size;
    b.style = TEXT.note;
    b.w = w;
    b.h = 1.16 * size;
    if (g.vertical) corner(b, size * 0.75, Math.min(g.hem + 4 + w / 2, g.breadth - w / 2 - 2));
    else corner(b, Math.max(room, 4) + w / 2, o.windows ? c : g.hem);
  }
  if (o.streak && state.streak) streak(scene, state.streak, measure);
  const note = Math.min(size, 15 * o.scale);
  const wide = g.vertical ? g.breadth : g.length;
  let y = 0.8 * note;
  const shown = Math.min(notes.length, 3);
  for (let i = 0; i < shown; i++) {
    const b = scene.notes.add();
    let s = i === 2 && notes.length > 3 ? `and ${notes.length - 2} more: see /options` : notes[i];
    while (s.length > 4 && (measure(s) + 0.7) * note > wide - 8) s = `${s.slice(0, -2)}…`;
    b.text = s;
    b.r = note;
    b.style = TEXT.note;
    b.w = (measure(s) + 0.5) * note;
    b.h = 1.2 * note;
    b.x = snap(o.mirror && !g.vertical ? wide - 4 - b.w / 2 : 4 + b.w / 2);
    b.y = snap(y);
    y += 1.28 * note;
  }
  if (scene.left > 0 && o.labels) {
    const b = scene.notes.add();
    b.text = `+${count(scene.left)}`;
    b.r = size * 0.9;
    b.style = TEXT.note;
    b.w = (measure(b.text) + 0.4) * b.r;
    b.h = 1.1 * b.r;
    corner(b, g.vertical ? g.gutter + size : b.w / 2 + 2, g.vertical ? g.breadth - b.w : g.top + 0.2 * size);
  }
}

/** Shapes of outcomes in a streak. @type {Record<string, number>} */
const SHAPES = { hit: 1, early: 2, late: 3, straddled: 4, nothing: 5 };

/**
 * The run of hits and the last twenty outcomes, each a shape of its own.
 * @param {Scene} scene
 * @param {import('../lib/types.js').Streak} s
 * @param {Measure} measure
 */
function streak(scene, s, measure) {
  const size = g.small;
  const last = s.last ?? [];
  const pitch = size * 0.78;
  const line = `run ${s.run} · best ${s.best}`;
  const w = (measure(line) + 0.5) * size;
  const c = (g.vertical ? 0.7 : 0.62) * size + 2;
  if (g.vertical) return;
  const b = scene.notes.add();
  b.text = line;
  b.r = size;
  b.style = TEXT.plate;
  b.w = w;
  b.h = 1.16 * size;
  const end = g.length - 0.4 * g.digit;
  corner(b, end - w / 2, c);
  for (let i = 0; i < last.length && i < 20; i++) {
    const d = point(scene.dots.add(), end - w - (last.length - i - 0.1) * pitch, c);
    d.style = SHAPES[last[i]] ?? 5;
    d.r = size * 0.3;
  }
}
