// Where the hem goes, and all that hangs on it or lights up: ticks, cuts, windows,
// holes, outcomes, flashes.

import { find, woven } from '../lib/state.js';
import { along, beadTall, BRACKET_TALL, g, GLOW, headAlong, place, point, pressEnd, SURE, text, threadAt, TICK_TALL } from './geometry.js';
import { BRACKET, count, TEXT } from './scene.js';

/**
 * @typedef {import('../lib/state.js').State} State
 * @typedef {import('../lib/types.js').Theme} Theme
 * @typedef {import('../lib/types.js').Multi} Multi
 * @typedef {import('./options.js').StripOptions} StripOptions
 * @typedef {import('./scene.js').Scene} Scene
 * @typedef {(text: string) => number} Measure  width of a text in ems
 */

/**
 * The hem: its line and the ticks between frames.
 * @param {Scene} scene
 * @param {State} state
 * @param {StripOptions} o
 */
export function hem(scene, state, o) {
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
export function bands(scene, o, turned) {
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
 * The brackets on the hem: windows laid down by multi-presses, widened to one
 * where they meet, with the holes between.
 * @param {Scene} scene
 * @param {State} state
 * @param {number} f
 * @param {StripOptions} o
 * @param {Measure} measure
 */
export function multis(scene, state, f, o, measure) {
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
export function outcomes(scene, state, o, measure) {
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
export function flashes(scene, state, f, o, theme, first) {
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

/**
 * Where time was left out: on each thread and on the hem.
 * @param {Scene} scene
 * @param {State} state
 * @param {number} threads
 */
export function cuts(scene, state, threads) {
  for (let i = state.rests.length - 1; i >= 0; i--) {
    const r = state.rests[i];
    if (r.to > g.head) continue;
    const a = along(state, r.to);
    if (a < g.gutter) break;
    for (let row = 0; row <= threads; row++) {
      const b = point(scene.cuts.add(), a, row < threads ? threadAt(row) : g.hem);
      b.r = 0.2 * g.digit;
    }
  }
}
