// Where everything on the strip goes: a pure function of state, frame, options,
// size, theme and the widths of texts. It draws nothing.
//
// Two directions are used throughout. "Along" runs with time, from the oldest
// frame on the strip to the newest; "across" goes from thread to thread towards
// the hem. Frame k is drawn as the cell from k−1 to k, for a press in that time
// is one that frame k reads: so everything known lies behind the head, and a
// press shows at once, before the frame that reads it.

import { find, headFrame, woven } from '../lib/state.js';
import { BEAD, BRACKET, KNOT, TEXT, THREAD, about, count } from './scene.js';

/**
 * @typedef {import('../lib/state.js').State} State
 * @typedef {import('../lib/types.js').Theme} Theme
 * @typedef {import('../lib/types.js').Press} Press
 * @typedef {import('../lib/types.js').Multi} Multi
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
const BEAD_TALL = 1.16;
const BEAD_VERTICAL = 1.5; // wide enough for two digits side by side
const WHOLE = 3; // frames up to which a hold is one bead
const FRONT = 2; // frames of the bead of a longer one
const TAIL_TALL = 0.5; // breadth of what follows, part of the bead's
const PLATE_TALL = 0.86; // a plate behind a count
const GAP_UP = 0.64; // from the thread up to the middle of a gap's count
const SPACING_DOWN = 0.8; // extra room a row has below for spacings
const HEM_PAD = 0.26; // between the last row and the hem's line
const WINDOW_BAND = 1.26; // room above the hem's line for the window of a target
const TICK_TALL = 0.3;
const BRACKET_TALL = 1.1;
const EDGE = 0.22; // along the outer edges
const GLOW = 0.36; // how far a flash reaches beyond what it lights
const FINE = 18; // device px: with smaller digits a strip is drawn more simply
const END = 0.5; // beyond the newest frame, for what stands on its edge
const DIGIT_WIDE = 0.66; // width of a digit and a little air
const LEAST_DIGIT = 13; // px at scale 1: with less, threads are left out instead
const PULLS = 3; // pulls of the cloth to a strip's length

// The one geometry that a layout works in; kept here so that nothing is made anew.
const g = {
  vertical: false, mirror: false, length: 0, breadth: 0, gutter: 0, run: 0,
  digit: 0, small: 0, per: 0, frames: 0, edge: 0, head: 0, dpr: 1,
  top: 0, row: 0, hem: 0, band: 0, low: 0, headAlong: 0,
};

/**
 * @param {Scene} scene filled anew
 * @param {State} state
 * @param {number} f frame to draw, with a fraction
 * @param {StripOptions} o
 * @param {{w: number, h: number, dpr: number}} size CSS pixels
 * @param {Theme} theme
 * @param {Measure} measure
 * @param {string[]} notes troubles to show in the corner
 */
export function layout(scene, state, f, o, size, theme, measure, notes) {
  scene.clear();
  const turned = o.direction !== 'off' && state.turned;
  chooseRows(scene, state, f, o);
  geometry(scene, state, o, size, theme, measure, turned);
  travel(state, f, o);
  scene.digit = g.digit;
  scene.small = g.small;
  scene.perFrame = g.per;
  scene.head = g.head;
  scene.vertical = g.vertical;
  scene.fine = g.digit * g.dpr < FINE;
  clip(scene);
  hem(scene, state, o);
  if (scene.fine) bands(scene, o, turned);
  let row = 0;
  if (turned) directions(scene, state, f, o, row++);
  const first = row;
  for (let i = 0; i < scene.rows.length; i++) thread(scene, i + first);
  presses(scene, state, f, o, first, measure);
  if (o.windows) multis(scene, state, f, o, measure);
  outcomes(scene, state, o, measure);
  flashes(scene, state, f, o, theme, first);
  cuts(scene, state);
  if (o.labels) labels(scene, state, theme, measure, turned, first);
  shuttle(scene);
  told(scene, state, o, theme, notes, measure);
}

/**
 * Which buttons have a thread.
 * @param {Scene} scene
 * @param {State} state
 * @param {number} f
 * @param {StripOptions} o
 */
function chooseRows(scene, state, f, o) {
  const buttons = state.setup ? state.setup.buttons : null;
  if (!buttons) return;
  if (o.buttons) {
    for (const want of o.buttons) {
      const i = buttonIndex(buttons, want);
      if (i >= 0 && !scene.rows.includes(i)) scene.rows.push(i);
    }
    return;
  }
  for (let i = 0; i < buttons.length; i++) {
    if (buttons[i].role === 'action' && state.seen[i] && state.firstPress[i] <= f + 1) scene.rows.push(i);
  }
}

/**
 * The index of a button by its label, whatever its capitals; −1 if there is none.
 * @param {import('../lib/types.js').Button[]} buttons
 * @param {string} want
 */
export function buttonIndex(buttons, want) {
  for (let i = 0; i < buttons.length; i++) if (buttons[i].label === want) return i;
  const low = want.toLowerCase();
  for (let i = 0; i < buttons.length; i++) if (buttons[i].label.toLowerCase() === low) return i;
  return -1;
}

/**
 * @param {Scene} scene
 * @param {State} state
 * @param {StripOptions} o
 * @param {{w: number, h: number, dpr: number}} size
 * @param {Theme} theme
 * @param {Measure} measure
 * @param {boolean} turned
 */
function geometry(scene, state, o, size, theme, measure, turned) {
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
  // Leave out the threads that were touched longest ago while digits would be too small.
  while (scene.rows.length > 1 && g.breadth / (fixed + rowUnits * (scene.rows.length + dir)) < least) {
    let oldest = 0;
    for (let i = 1; i < scene.rows.length; i++) {
      if ((state.lastPress[scene.rows[i]] ?? -Infinity) < (state.lastPress[scene.rows[oldest]] ?? -Infinity)) oldest = i;
    }
    scene.rows.splice(oldest, 1);
    scene.left++;
  }
  const rows = scene.rows.length + dir;
  let digit = Math.min(most, g.breadth / (fixed + rowUnits * rows));
  const label = theme.size.label;

  g.gutter = 0;
  for (let pass = 0; pass < 4; pass++) {
    g.digit = digit;
    g.small = digit * label;
    g.gutter = gutter(scene, state, o, theme, measure, turned);
    g.run = Math.max(g.length - g.gutter - END * digit, 40);
    g.frames = o.frames > 0 ? o.frames : Math.max(20, Math.min(240, Math.floor(g.run / (digit * 0.86))));
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

const DIRECTION_LABEL = 'dir';

/**
 * Sets how far the cloth has been pulled.
 * @param {State} state
 * @param {number} f
 * @param {StripOptions} o
 */
function travel(state, f, o) {
  const head = headFrame(state, f);
  g.head = head;
  const at = woven(state, head);
  const n = g.frames;
  if (o.motion === 'scroll' && (!o.guard || !thick(state, head, n))) {
    g.edge = at;
    return;
  }
  // Pulled on by a step whenever the head reaches the end.
  const step = o.motion === 'still' ? n - Math.floor(n / 8) : Math.max(1, Math.round(n / PULLS));
  g.edge = Math.ceil((at + 1e-9) / step) * step;
}

/**
 * Whether four presses of one button that are on the strip came within a second:
 * running past one spot they would flicker more than three times a second.
 * @param {State} state
 * @param {number} head
 * @param {number} frames
 */
function thick(state, head, frames) {
  const second = state.setup ? 1000 / state.setup.frame_ms : 60;
  const p = state.presses;
  const old = woven(state, head) - frames;
  for (let i = p.length - 1; i >= 0; i--) {
    if (p[i].first > head + 1) continue;
    if (woven(state, p[i].first) < old) return false;
    let n = 1;
    for (let j = i - 1; j >= 0 && p[i].first - p[j].first < second; j--) {
      if (p[j].b === p[i].b && ++n > 3) return true;
    }
  }
  return false;
}

/** Where frame boundary k (the end of cell k) lies along. @param {State} state @param {number} k */
function along(state, k) {
  return g.gutter + g.run - (g.edge - woven(state, k)) * g.per;
}

/** Nearest whole device pixel. @param {number} v */
const snap = (v) => Math.round(v * g.dpr) / g.dpr;

/**
 * Puts a box by its near end and top, its length along and its breadth across.
 * @param {Box} b
 * @param {number} a
 * @param {number} c
 * @param {number} la
 * @param {number} lc
 */
function place(b, a, c, la, lc) {
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
function point(b, a, c) {
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
function text(list, s, a, c, size, style, measure) {
  const b = point(list.add(), a, c);
  b.text = s;
  b.r = size;
  b.style = style;
  b.w = measure(s) * size + 0.24 * size;
  b.h = PLATE_TALL * size;
  return b;
}

/** Across position of a row's thread. @param {number} row */
const threadAt = (row) => g.top + g.row * row + (g.vertical ? RISE_VERTICAL : RISE) * g.digit;

/** @param {Scene} scene */
function clip(scene) {
  const b = place(scratch, g.gutter, 0, g.length - g.gutter, g.breadth);
  scene.clip.x = b.x;
  scene.clip.y = b.y;
  scene.clip.w = b.w;
  scene.clip.h = b.h;
}

/** @type {Box} */
const scratch = { x: 0, y: 0, w: 0, h: 0, r: 0, style: 0, mark: 0, level: 1, text: '', key: '' };

/** Along position of the head. */
const headAlong = () => g.headAlong;

/**
 * The hem: its line and the ticks between frames.
 * @param {Scene} scene
 * @param {State} state
 * @param {StripOptions} o
 */
function hem(scene, state, o) {
  g.headAlong = along(state, g.head);
  const thick = 2 * o.scale;
  const line = place(scene.ticks.add(), g.gutter, g.hem - thick / 2, g.headAlong - g.gutter, thick);
  line.style = 1;
  const tall = TICK_TALL * g.digit;
  const step = g.per * g.dpr < 12 ? 10 : 1; // ticks between frames, or only between tens
  let k = Math.floor(g.head / step) * step;
  for (let n = 0; n <= g.frames + 1; n += step, k -= step) {
    const a = along(state, k);
    if (a < g.gutter) break;
    const r = restAt(state, k);
    if (r) {
      k = Math.ceil((r.from + 1e-9) / step) * step; // no ticks in time that is left out
      continue;
    }
    const strong = k % 10 === 0;
    const h = strong ? tall : k % 5 === 0 ? tall * 0.7 : tall * 0.4;
    const t = place(scene.ticks.add(), a - thick / 2, g.hem, thick, h);
    t.style = strong ? 1 : 0;
  }
}

/**
 * One plate behind everything, in place of single casings.
 * @param {Scene} scene
 * @param {StripOptions} o
 * @param {boolean} turned
 */
function bands(scene, o, turned) {
  const n = scene.rows.length + (turned ? 1 : 0);
  if (n === 0) return;
  const low = g.hem + (TICK_TALL + (o.windows ? BRACKET_TALL : 0.1)) * g.digit;
  place(scene.bands.add(), g.gutter, g.top, g.headAlong - g.gutter, low - g.top);
}

/**
 * The rest that frame boundary k lies within.
 * @param {State} state
 * @param {number} k
 */
function restAt(state, k) {
  for (let i = state.rests.length - 1; i >= 0; i--) {
    const r = state.rests[i];
    if (k >= r.to) return null;
    if (k > r.from) return r;
  }
  return null;
}

/**
 * The bare thread of a button: woven up to the head, warp beyond.
 * @param {Scene} scene
 * @param {number} row
 */
function thread(scene, row) {
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
function presses(scene, state, f, o, first, measure) {
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
 * The frame after a press's last, as known at frame f.
 * @param {Press} p
 * @param {number} f
 */
function pressEnd(p, f) {
  if (p.state === 'down') return Math.max(f + 1, p.first);
  return Math.min(p.first + p.hold, Math.max(f + 1, p.first));
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
  if (p.gap >= 0) gap(scene, state, p, c, o, measure);
  if (p.state === 'pending' || p.state === 'unseen' || p.first > f) {
    const k = point(scene.knots.add(), a0 + g.per / 2, c);
    k.style = p.state === 'unseen' ? KNOT.unseen : KNOT.pending;
    k.r = Math.min(g.digit * 0.36, g.per * 0.48);
    return;
  }
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

/** Breadth of a bead across. */
const beadTall = () => (g.vertical ? BEAD_VERTICAL : BEAD_TALL) * g.digit;

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
    if (q.id < p.id && q.b === p.b && q.state !== 'unseen') return q;
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
function directions(scene, state, f, o, row) {
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

/**
 * The brackets on the hem: windows laid down by multi-presses, widened to one
 * where they meet, with the holes between.
 * @param {Scene} scene
 * @param {State} state
 * @param {number} f
 * @param {StripOptions} o
 * @param {Measure} measure
 */
function multis(scene, state, f, o, measure) {
  const c = g.hem + TICK_TALL * g.digit;
  const tall = BRACKET_TALL * g.digit * 0.86;
  const mid = c + tall / 2;
  const list = state.multis;
  let free = Infinity; // along, where the bracket after begins
  for (let i = list.length - 1; i >= 0; i--) {
    const m = list[i];
    if (m.first > f || scene.rows.indexOf(m.b) < 0) continue;
    const last = find(state.presses, m.presses[m.presses.length - 1]);
    if (last && last.first > f) continue;
    const sure = m.sure >= SURE;
    let a0 = Infinity;
    let a1 = -Infinity;
    if (m.spans && m.spans.length > 0) {
      for (const sp of m.spans) {
        const s0 = along(state, sp[0] - 1);
        const s1 = Math.min(along(state, sp[1]), free - 2);
        if (s1 <= s0) continue;
        a0 = Math.min(a0, s0);
        a1 = Math.max(a1, s1);
        const b = place(scene.brackets.add(), s0, c, s1 - s0, tall);
        b.style = sure ? BRACKET.sure : BRACKET.unsure;
        if (along(state, sp[1]) > free - 2) continue; // a later one covers part of it
        const size = m.verdict === 'covered' ? m.covered : sp[1] - sp[0] + 1;
        const t = text(scene.texts, count(size), Math.max((s0 + s1) / 2, g.gutter + 0.5 * g.digit), mid, g.digit, sure ? TEXT.window : TEXT.hollow, measure);
        t.w = t.h = 0;
        if (s1 < g.gutter + g.digit * 0.6) scene.texts.n--;
      }
      if (m.holes) {
        for (const h of m.holes) {
          const h0 = along(state, h[0] - 1);
          const h1 = Math.min(along(state, h[1]), free - 2);
          if (h1 <= h0) continue;
          const b = place(scene.brackets.add(), h0, c, h1 - h0, tall);
          b.style = BRACKET.hole;
          const t = text(scene.texts, count(h[1] - h[0] + 1), (h0 + h1) / 2, mid, g.digit, TEXT.hole, measure);
          t.w = t.h = 0;
        }
      }
    } else {
      if (m.verdict !== 'mashed' && m.verdict !== 'none') continue; // not judged: nothing to show
      a0 = along(state, m.first - 1);
      a1 = Math.min(along(state, last ? last.first : m.first), free - 2);
      const b = place(scene.brackets.add(), a0, mid - tall * 0.16, Math.max(a1 - a0, g.per), tall * 0.32);
      b.style = BRACKET.mash;
    }
    if (o.words && m.words) words(scene, state, m, i, a0, a1, mid, tall, measure);
    free = Math.min(free, a0);
    if (a1 < g.gutter && woven(state, m.first) < g.edge - 2 * g.frames) break;
  }
}

/** @type {Map<string, string>} */
const inFont = new Map();

/**
 * Words as the font can write them: it has no arrow to the right, and one from
 * another font would look different on every system.
 * @param {string} s
 */
function written(s) {
  if (!s.includes('→')) return s;
  let w = inFont.get(s);
  if (w === undefined) {
    if (inFont.size > 500) inFont.clear();
    w = s.replaceAll('→', 'to');
    inFont.set(s, w);
  }
  return w;
}

/**
 * A verdict's words, before its bracket, where nothing more will come; or beyond
 * the hem of a vertical strip.
 * @param {Scene} scene
 * @param {State} state
 * @param {Multi} m
 * @param {number} i
 * @param {number} a0
 * @param {number} a1
 * @param {number} mid
 * @param {number} tall
 * @param {Measure} measure
 */
function words(scene, state, m, i, a0, a1, mid, tall, measure) {
  const said = written(m.words);
  const w = measure(said) * g.small + 0.5 * g.small;
  if (g.vertical) {
    const c = mid + tall / 2 + w / 2 + 0.2 * g.digit;
    if (c + w / 2 > g.breadth || (a0 + a1) / 2 < g.gutter) return;
    text(scene.texts, said, (a0 + a1) / 2, c, g.small, TEXT.plate, measure);
    return;
  }
  if (m.verdict === 'mashed' && a1 - Math.max(a0, g.gutter) > w) {
    text(scene.texts, said, (Math.max(a0, g.gutter) + a1) / 2, mid, g.small, TEXT.plate, measure);
    return;
  }
  let before = g.gutter;
  for (let j = i - 1; j >= 0; j--) {
    const p = state.multis[j];
    if (scene.rows.indexOf(p.b) < 0) continue;
    let k = p.first;
    if (p.spans) for (const sp of p.spans) k = Math.max(k, sp[1]);
    before = Math.max(before, along(state, k));
    break;
  }
  if (a0 - w - 0.4 * g.digit < before) return;
  text(scene.texts, said, a0 - w / 2 - 0.2 * g.digit, mid, g.small, TEXT.plate, measure);
}

/**
 * Windows of a target, above the hem's line, and how each attempt went.
 * @param {Scene} scene
 * @param {State} state
 * @param {StripOptions} o
 * @param {Measure} measure
 */
function outcomes(scene, state, o, measure) {
  const list = state.outcomes;
  const tall = 0.42 * g.digit;
  for (let i = list.length - 1; i >= 0; i--) {
    const w = list[i];
    const a0 = along(state, w.open - 1);
    const a1 = along(state, w.close);
    if (a1 < g.gutter) {
      if (woven(state, w.close) < g.edge - 2 * g.frames) break;
      continue;
    }
    if (a0 > g.length) continue;
    const b = place(scene.brackets.add(), a0, g.hem - tall, a1 - a0, tall);
    b.style = w.kind === 'hit' ? BRACKET.hit : w.kind === 'waiting' ? BRACKET.open : BRACKET.missed;
    if (!o.words || !w.words || w.kind === 'waiting' || g.vertical) continue;
    const half = (measure(w.words) * g.small) / 2;
    const at = Math.max(Math.min((a0 + a1) / 2, g.length - half - 0.3 * g.digit), g.gutter + half);
    const next = i + 1 < list.length ? along(state, list[i + 1].open - 1) : Infinity;
    if (at + half > next && i + 1 < list.length) continue;
    text(scene.texts, w.words, at, g.hem - tall - 0.44 * g.digit, g.small, TEXT.plate, measure);
  }
}

/**
 * What lights up: the row of the multi-press and its bracket.
 * @param {Scene} scene
 * @param {State} state
 * @param {number} f
 * @param {StripOptions} o
 * @param {Theme} theme
 * @param {number} first
 */
function flashes(scene, state, f, o, theme, first) {
  if (o.flash === 'off') return;
  const { flash_hold: steady, flash_fade: fade } = theme.motion;
  for (let i = 0; i < state.flashes.length; i++) {
    const fl = state.flashes[i];
    const age = f - fl.f;
    if (age < 0 || age >= steady + fade) continue;
    const level = age < steady ? 1 : 1 - (age - steady) / fade;
    if (fl.multi >= 0) {
      const m = find(state.multis, fl.multi);
      const row = m ? scene.rows.indexOf(m.b) : -1;
      if (!m || row < 0) continue;
      const last = find(state.presses, m.presses[m.presses.length - 1]);
      const end = last ? pressEnd(last, f) : m.first;
      const pad = GLOW * g.digit;
      const c = threadAt(first + row);
      const tall = beadTall() + 2 * pad;
      glow(scene, fl.key, level, along(state, m.first - 1) - pad, Math.min(along(state, end - 1), headAlong()) + pad, c - tall / 2, tall);
      if (o.windows && m.spans) {
        for (const sp of m.spans) {
          glow(scene, fl.key, level, along(state, sp[0] - 1) - pad, along(state, sp[1]) + pad, g.hem + TICK_TALL * g.digit - pad, BRACKET_TALL * g.digit * 0.86 + 2 * pad);
        }
      }
    } else {
      const w = find(state.outcomes, fl.outcome);
      if (!w) continue;
      glow(scene, fl.key, level, along(state, w.open - 1), along(state, w.close), g.hem - 0.42 * g.digit, 0.42 * g.digit);
    }
  }
}

/**
 * @param {Scene} scene
 * @param {string} key
 * @param {number} level
 * @param {number} a0
 * @param {number} a1
 * @param {number} c
 * @param {number} tall
 */
function glow(scene, key, level, a0, a1, c, tall) {
  const from = Math.max(a0, g.gutter);
  if (a1 <= from) return;
  const b = place(scene.flashes.add(), from, c, a1 - from, tall);
  b.key = key;
  b.level = level;
}

/** @param {Scene} scene @param {State} state */
function cuts(scene, state) {
  for (let i = state.rests.length - 1; i >= 0; i--) {
    const r = state.rests[i];
    if (r.to > g.head) continue;
    const a = along(state, r.to);
    if (a < g.gutter) break;
    const b = point(scene.cuts.add(), a, 0);
    b.r = 0.2 * g.digit;
    // From the first thread to the hem.
    const q = place(scratch, a, threadAt(0) - 0.3 * g.digit, 0, g.hem + TICK_TALL * g.digit - threadAt(0) + 0.3 * g.digit);
    b.w = q.w;
    b.h = q.h;
    if (g.vertical) b.x = q.x;
    else b.y = q.y;
  }
}

/** @param {string} s @param {Theme} theme */
function cased(s, theme) {
  if (theme.labels.case === 'upper') return s.toUpperCase();
  if (theme.labels.case === 'lower') return s.toLowerCase();
  return s;
}

/**
 * @param {Scene} scene
 * @param {State} state
 * @param {Theme} theme
 * @param {Measure} measure
 * @param {boolean} turned
 * @param {number} first
 */
function labels(scene, state, theme, measure, turned, first) {
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
function shuttle(scene) {
  const top = threadAt(0) - 0.5 * g.digit;
  const b = place(scratch, headAlong(), top, 0, g.hem - top);
  scene.shuttle.x = b.x;
  scene.shuttle.y = b.y;
  scene.shuttle.w = b.w;
  scene.shuttle.h = b.h;
  scene.shuttle.on = headAlong() < g.length - 1;
}

/** The word that must stand on the strip: what is not live play. @param {State} state @param {Theme} theme */
function standing(state, theme) {
  const s = state.status;
  if (!s) return '';
  if (s.paused) return theme.labels.paused;
  if (s.replay) return theme.labels.replay;
  if (s.demo) return theme.labels.demo;
  return '';
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
function told(scene, state, o, theme, notes, measure) {
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

/**
 * @param {Box} b
 * @param {number} a
 * @param {number} c
 */
function corner(b, a, c) {
  const w = b.w;
  const h = b.h;
  point(b, a, c);
  b.w = w;
  b.h = h;
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
