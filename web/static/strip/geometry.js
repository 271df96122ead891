// The measures of a strip: how large things are, which threads there are, how far
// the cloth has been pulled, and how places along and across become pixels.
//
// Two directions are used throughout the layout. "Along" runs with time, from the
// oldest frame on the strip to the newest; "across" goes from thread to thread
// towards the hem. Frame k is drawn as the cell from k−1 to k, for a press in that
// time is one that frame k reads: so everything known lies behind the head, and a
// press shows at once, before the frame that reads it.

import { headFrame, woven } from '../lib/state.js';

/**
 * @typedef {import('../lib/state.js').State} State
 * @typedef {import('../lib/types.js').Theme} Theme
 * @typedef {import('../lib/types.js').Press} Press
 * @typedef {import('./options.js').StripOptions} StripOptions
 * @typedef {import('./scene.js').Scene} Scene
 * @typedef {import('./scene.js').Box} Box
 * @typedef {(text: string) => number} Measure  width of a text in ems
 */

/** A number is unsure when less than this part of all phases would count the same. */
export const SURE = 0.9;

// Sizes as parts of the digit size.
const ROW = 1.82; // from thread to thread
const ROW_VERTICAL = 2.5;
const RISE = 1.14; // from a row's top to its thread
const RISE_VERTICAL = 1.6;
export const BEAD_TALL = 1.16;
export const BEAD_VERTICAL = 1.5; // wide enough for two digits side by side
export const WHOLE = 3; // frames up to which a hold is one bead
export const FRONT = 2; // frames of the bead of a longer one
export const TAIL_TALL = 0.5; // breadth of what follows, part of the bead's
export const PLATE_TALL = 0.86; // a plate behind a count
export const GAP_UP = 0.64; // from the thread up to the middle of a gap's count
const SPACING_DOWN = 0.8; // extra room a row has below for spacings
const HEM_PAD = 0.26; // between the last row and the hem's line
const WINDOW_BAND = 1.26; // room above the hem's line for the window of a target
export const TICK_TALL = 0.3;
export const BRACKET_TALL = 1.1;
const EDGE = 0.22; // along the outer edges
export const GLOW = 0.36; // how far a flash reaches beyond what it lights
export const FINE = 18; // device px: with smaller digits a strip is drawn more simply
const END = 0.5; // beyond the newest frame, for what stands on its edge
export const DIGIT_WIDE = 0.66; // width of a digit and a little air
const LEAST_DIGIT = 13; // px at scale 1: with less, threads are left out instead
const PULLS = 3; // pulls of the cloth to a strip's length, at most
// While presses come thick, each spot changes about twice from pull to pull. Two
// pulls a second make two flashes of it, below the limit of three.
const PULL_TIME = 0.5; // s from pull to pull, at least
const LEAST_TIME = 0.6; // s across a strip, at least, to make room for that

// The one geometry that a layout works in; kept here so that nothing is made anew.
export const g = {
  vertical: false, mirror: false, length: 0, breadth: 0, gutter: 0, run: 0,
  digit: 0, small: 0, per: 0, frames: 0, edge: 0, head: 0, dpr: 1,
  top: 0, row: 0, hem: 0, band: 0, low: 0, headAlong: 0,
};

/**
 * @param {Scene} scene
 * @param {State} state
 * @param {number} f
 * @param {StripOptions} o
 * @param {{w: number, h: number, dpr: number}} size
 * @param {Theme} theme
 * @param {Measure} measure
 * @param {boolean} turned
 */
export function geometry(scene, state, f, o, size, theme, measure, turned) {
  g.vertical = o.vertical;
  g.mirror = o.mirror;
  g.dpr = size.dpr;
  g.length = o.vertical ? size.h : size.w;
  g.breadth = o.vertical ? size.w : size.h;
  const target = state.setup !== null && (state.setup.target ?? '') !== '';
  const rowUnits = (o.vertical ? ROW_VERTICAL : ROW) + (o.spacings ? SPACING_DOWN : 0);
  const bandUnits = target || state.outcomes.length > 0 ? WINDOW_BAND : 0;
  const streakUnits = o.streak ? 1.05 : 0;
  const fixed = 2 * EDGE + HEM_PAD + bandUnits + TICK_TALL + (o.windows ? BRACKET_TALL : 0) + streakUnits;
  const dir = turned ? 1 : 0;

  const most = theme.size.digit * o.scale;
  const least = Math.min(most, LEAST_DIGIT * o.scale);
  const room = Math.max(1, Math.floor((g.breadth / least - fixed) / rowUnits + 1e-6) - dir);
  if (scene.rows.length > room) fewer(scene, state, f, room);
  const rows = scene.rows.length + dir;
  let digit = Math.min(most, g.breadth / (fixed + rowUnits * rows));
  const label = theme.size.label;

  g.gutter = 0;
  for (let pass = 0; pass < 4; pass++) {
    g.digit = digit;
    g.small = digit * label;
    g.gutter = gutter(scene, state, o, theme, measure, turned);
    g.run = Math.max(g.length - g.gutter - END * digit, 40);
    g.frames = o.frames > 0 ? o.frames : Math.min(240, Math.floor(g.run / (digit * 0.86)));
    g.frames = Math.max(g.frames, Math.ceil(second(state) * LEAST_TIME));
    g.per = g.run / g.frames;
    const fits = g.per / DIGIT_WIDE; // a one-frame bead must hold its count
    if (digit <= fits * 1.001) break;
    digit = fits;
  }
  digit = g.digit;
  g.row = rowUnits * digit;
  g.band = bandUnits * digit;
  g.low = o.spacings ? SPACING_DOWN * digit : 0;
  const used = (fixed + rowUnits * rows) * digit;
  // The hem lies along the lower edge, whatever room there is above; down the page
  // the threads start at the left and words find their room beyond the hem.
  g.top = (o.vertical ? 0 : g.breadth - used) + (EDGE + streakUnits) * digit;
  g.hem = g.top + g.row * rows + (HEM_PAD + bandUnits) * digit;
}

/** Seconds for which a thread keeps its place after its last press. */
const KEEPS = 10;
/** @type {number[]} */
const shown = [];
/** @type {number[]} */
const touched = [];

/**
 * Leaves out threads for which there is no room. Who came first stays; a button
 * that is pressed later takes the place of the one that was touched longest ago,
 * if that is long enough: threads that took turns quickly would flicker.
 * @param {Scene} scene its rows are cut down
 * @param {State} state
 * @param {number} f
 * @param {number} room
 */
function fewer(scene, state, f, room) {
  const keeps = second(state) * KEEPS;
  shown.length = 0;
  for (let i = 0; i < scene.rows.length; i++) touched[scene.rows[i]] = -Infinity;
  for (let i = 0; i < state.presses.length; i++) {
    const p = state.presses[i];
    if (p.first > f + 1 || scene.rows.indexOf(p.b) < 0) continue;
    if (shown.indexOf(p.b) < 0) {
      if (shown.length < room) {
        shown.push(p.b);
      } else {
        let oldest = 0;
        for (let j = 1; j < shown.length; j++) if (touched[shown[j]] < touched[shown[oldest]]) oldest = j;
        if (p.first - touched[shown[oldest]] > keeps) shown[oldest] = p.b;
      }
    }
    touched[p.b] = p.first;
  }
  for (let i = 0; i < scene.rows.length && shown.length < room; i++) {
    if (shown.indexOf(scene.rows[i]) < 0) shown.push(scene.rows[i]);
  }
  for (let i = scene.rows.length - 1; i >= 0; i--) {
    if (shown.indexOf(scene.rows[i]) < 0) {
      scene.rows.splice(i, 1);
      scene.left++;
    }
  }
}

/**
 * Room for the labels at the old end of the threads.
 * @param {Scene} scene
 * @param {State} state
 * @param {StripOptions} o
 * @param {Theme} theme
 * @param {Measure} measure
 * @param {boolean} turned
 */
function gutter(scene, state, o, theme, measure, turned) {
  const pad = 0.5 * g.digit;
  if (!o.labels) return EDGE * g.digit;
  if (o.vertical) return g.small * 1.25 + pad;
  let w = 0;
  const buttons = state.setup ? state.setup.buttons : [];
  for (let i = 0; i < scene.rows.length; i++) {
    w = Math.max(w, measure(cased(buttons[scene.rows[i]].label, theme)));
  }
  if (turned) w = Math.max(w, measure(DIRECTION_LABEL));
  const word = standing(state, theme);
  if (word) w = Math.max(w, measure(word) + 0.5);
  return Math.min(w * g.small + pad * 1.4, g.length * 0.2);
}

export const DIRECTION_LABEL = 'dir';

/**
 * Sets how far the cloth has been pulled.
 * @param {State} state
 * @param {number} f
 * @param {StripOptions} o
 */
export function travel(state, f, o) {
  const head = headFrame(state, f);
  g.head = head;
  const at = woven(state, head);
  const n = g.frames;
  if (o.motion === 'scroll' && (!o.guard || !dense(state, head, n))) {
    g.edge = at;
    return;
  }
  // Pulled on by a step whenever the head reaches the end.
  const page = n - Math.floor(n / 8);
  const step = o.motion === 'still' ? page : Math.min(page, Math.max(Math.round(n / PULLS), Math.round(second(state) * PULL_TIME)));
  g.edge = Math.ceil((at + 1e-9) / step) * step;
}

/**
 * Whether four presses of one button that are on the strip came within a second:
 * running past one spot they would flicker more than three times a second.
 * @param {State} state
 * @param {number} head
 * @param {number} frames
 */
function dense(state, head, frames) {
  const fast = second(state);
  const p = state.presses;
  const old = woven(state, head) - frames;
  for (let i = p.length - 1; i >= 0; i--) {
    if (p[i].first > head + 1) continue;
    if (woven(state, p[i].first) < old) return false;
    let n = 1;
    for (let j = i - 1; j >= 0 && p[i].first - p[j].first < fast; j--) {
      if (p[j].b === p[i].b && ++n > 3) return true;
    }
  }
  return false;
}

/** Frames in a second. @param {State} state */
const second = (state) => (state.setup ? 1000 / state.setup.frame_ms : 60);

/** Where frame boundary k (the end of cell k) lies along. @param {State} state @param {number} k */
export function along(state, k) {
  return g.gutter + g.run - (g.edge - woven(state, k)) * g.per;
}

/** Nearest whole device pixel. @param {number} v */
export const snap = (v) => Math.round(v * g.dpr) / g.dpr;

/**
 * Puts a box by its near end and top, its length along and its breadth across.
 * @param {Box} b
 * @param {number} a
 * @param {number} c
 * @param {number} la
 * @param {number} lc
 */
export function place(b, a, c, la, lc) {
  const a0 = snap(g.mirror ? g.length - a - la : a);
  const a1 = snap(g.mirror ? g.length - a : a + la);
  const c0 = snap(c);
  const c1 = snap(c + lc);
  if (g.vertical) {
    b.x = c0;
    b.y = a0;
    b.w = c1 - c0;
    b.h = a1 - a0;
  } else {
    b.x = a0;
    b.y = c0;
    b.w = a1 - a0;
    b.h = c1 - c0;
  }
  return b;
}

/**
 * Puts the middle of a box.
 * @param {Box} b
 * @param {number} a
 * @param {number} c
 */
export function point(b, a, c) {
  const am = snap(g.mirror ? g.length - a : a);
  if (g.vertical) {
    b.x = snap(c);
    b.y = am;
  } else {
    b.x = am;
    b.y = snap(c);
  }
  return b;
}

/**
 * A text around a point; w and h are its plate's.
 * @param {import('./scene.js').Boxes} list
 * @param {string} s
 * @param {number} a
 * @param {number} c
 * @param {number} size px
 * @param {number} style
 * @param {Measure} measure
 */
export function text(list, s, a, c, size, style, measure) {
  const b = point(list.add(), a, c);
  b.text = s;
  b.r = size;
  b.style = style;
  b.w = measure(s) * size + 0.24 * size;
  b.h = PLATE_TALL * size;
  return b;
}

/** Across position of a row's thread. @param {number} row */
export const threadAt = (row) => g.top + g.row * row + (g.vertical ? RISE_VERTICAL : RISE) * g.digit;

/** @param {Scene} scene */
export function clip(scene) {
  const b = place(scratch, g.gutter, 0, g.length - g.gutter, g.breadth);
  scene.clip.x = b.x;
  scene.clip.y = b.y;
  scene.clip.w = b.w;
  scene.clip.h = b.h;
}

/** @type {Box} */
export const scratch = { x: 0, y: 0, w: 0, h: 0, r: 0, style: 0, mark: 0, level: 1, text: '', key: '' };

/** Along position of the head. */
export const headAlong = () => g.headAlong;

/**
 * The frame after a press's last, as known at frame f.
 * @param {Press} p
 * @param {number} f
 */
export function pressEnd(p, f) {
  if (p.state === 'down') return Math.max(f + 1, p.first);
  return Math.min(p.first + p.hold, Math.max(f + 1, p.first));
}

/** Breadth of a bead across. */
export const beadTall = () => (g.vertical ? BEAD_VERTICAL : BEAD_TALL) * g.digit;

/** @param {string} s @param {Theme} theme */
export function cased(s, theme) {
  if (theme.labels.case === 'upper') return s.toUpperCase();
  if (theme.labels.case === 'lower') return s.toLowerCase();
  return s;
}

/** The word that must stand on the strip: what is not live play. @param {State} state @param {Theme} theme */
export function standing(state, theme) {
  const s = state.status;
  if (!s) return '';
  if (s.paused) return theme.labels.paused;
  if (s.replay) return theme.labels.replay;
  if (s.demo) return theme.labels.demo;
  return '';
}

/**
 * @param {Box} b
 * @param {number} a
 * @param {number} c
 */
export function corner(b, a, c) {
  const w = b.w;
  const h = b.h;
  point(b, a, c);
  b.w = w;
  b.h = h;
}
