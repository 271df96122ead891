// The drawing of a target: the window as a clasp on the hem, a thread for each
// press, and a thread of starts: a bead where a start is covered, a knot where
// there is a hole. The slider pulls the presses along. Every number was worked
// out by the program.

import { h, svg } from './dom.js';
import { count } from './words.js';

/** @typedef {import('./types.js').Cover} Cover */
/** @typedef {import('./types.js').Target} Target */

const ROW = 34; // height of a thread, px
const CELL = 46; // width of a frame where there is room, px
const LEAST = 14; // width of one where there is not: then the cloth scrolls
const LEFT = 60; // for the names of the threads
const RIGHT = 8;

let start = 0; // frame of the first press, as pulled

/** Draws the picture that is shown anew, for another width. */
let again = () => {};
let width = 0;
const sized = new ResizeObserver((all) => {
  const w = Math.round(all[all.length - 1].contentRect.width);
  if (w === width || w === 0) return;
  width = w;
  again();
});

/**
 * @param {HTMLElement} box
 * @param {Cover} c
 * @param {Target} t
 * @param {boolean} waits whether these numbers are not in force
 */
export function drawCover(box, c, t, waits) {
  const words = box.querySelector('.cover-words') ?? box.appendChild(h('div', { class: 'cover-words', role: 'status', 'aria-live': 'polite' }));
  let cloth = box.querySelector('.cloth');
  if (!cloth) {
    cloth = box.appendChild(h('div', { class: 'cloth', id: 'cloth', tabindex: 0, role: 'group', 'aria-label': 'The cover, drawn' }));
    sized.disconnect();
    sized.observe(cloth);
  }
  const shown = cloth;
  const pull = box.querySelector('.pull') ?? box.appendChild(h('div', { class: 'pull' }));
  words.replaceChildren(...(c.error ? [h('p', { class: 'warn' }, h('b', {}, 'Not yet: '), c.error)] : sentence(c, t)), ...(waits ? [h('p', { class: 'warn' }, 'The target stays as it was until these numbers link.')] : []));
  if (c.error || c.window <= 0) {
    cloth.replaceChildren();
    pull.replaceChildren();
    again = () => {};
    return;
  }
  const first = Math.min(0, ...c.runs.map((r) => r[0])) - 2;
  const last = c.window + (c.presses - 1) * c.spacing + 1;
  start = Math.min(Math.max(start, first), c.window + 1);
  const redraw = () => {
    shown.replaceChildren(picture(c, first, last, box.clientWidth));
    mark.textContent = verdict(c);
  };
  again = redraw;
  const mark = h('output', { for: 'cover-pull' });
  const slider = h('input', { type: 'range', id: 'cover-pull', min: first, max: c.window + 1, step: 1, value: start,
    oninput: () => { start = slider.valueAsNumber; redraw(); } });
  if (pull.contains(document.activeElement)) {
    // The slider is in use: keep it, and only what it says is new.
    const kept = /** @type {HTMLInputElement} */ (document.getElementById('cover-pull'));
    kept.min = String(first);
    kept.max = String(c.window + 1);
    kept.oninput = () => { start = kept.valueAsNumber; redraw(); };
    pull.querySelector('output')?.replaceWith(mark);
  } else {
    pull.replaceChildren(h('label', { for: 'cover-pull' }, 'Pull the presses along'), slider, mark);
  }
  redraw();
}

/**
 * @param {Cover} c
 * @param {Target} t
 */
function sentence(c, t) {
  const what = c.window > 0
    ? [h('b', {}, `Window ${count(c.window, 'frame')}.`), ` ${count(c.presses, 'press').replace('presss', 'presses')} with spacing ${c.spacing}${c.suggested ? ' (suggested)' : ''} ${c.presses === 1 ? 'covers' : 'cover'} ${count(c.starts, 'start')}.`]
    : [h('b', {}, `No link: ${count(c.short, 'frame')} short.`)];
  const opens = c.opening > 0 && c.window > 0 ? ` It opens ${count(c.opening, 'frame')} after ${t.starter}.` : '';
  return [h('p', {}, ...what, opens), c.advice && h('p', { class: 'advice' }, c.advice)].filter((x) => x instanceof Node);
}

/** @param {Cover} c @param {number} f */
const within = (c, f) => c.runs.some((r) => f >= r[0] && f <= r[1]);
/** @param {Cover} c @param {number} f */
const inHole = (c, f) => c.holes.some((r) => f >= r[0] && f <= r[1]);

/** @param {Cover} c */
function verdict(c) {
  const when = start < 0 ? `${count(-start, 'frame')} early` : start >= c.window ? `${count(start - c.window + 1, 'frame')} late` : `on frame ${start} of the window`;
  return `First press ${when}: ${within(c, start) ? 'it links' : inHole(c, start) ? 'a hole, it misses' : 'it misses'}.`;
}

/**
 * @param {Cover} c
 * @param {number} first frame at the left
 * @param {number} last frame at the right
 * @param {number} room width to fill, px
 */
function picture(c, first, last, room) {
  const n = last - first + 1;
  const cell = Math.min(CELL, Math.max(Math.floor((room - LEFT - RIGHT) / n), n <= 60 ? LEAST : 5));
  const wide = LEFT + RIGHT + n * cell;
  const rows = c.presses + 1;
  const hem = rows * ROW + 30;
  const tall = hem + 34;
  /** @param {number} f middle of a frame */
  const x = (f) => LEFT + (f - first + 0.5) * cell;
  const pic = svg('svg', { viewBox: `0 0 ${wide} ${tall}`, width: wide, height: tall, role: 'img', 'aria-label': `${c.advice} Frames ${first} to ${last}, counted from the window’s first.` });

  // The window, as a clasp on the hem, and its light through the cloth.
  const left = x(0) - cell / 2;
  const right = x(c.window - 1) + cell / 2;
  pic.append(svg('rect', { class: 'through', x: left, y: 0, width: right - left, height: hem }));

  // Each press on a thread of its own.
  for (let i = 0; i < c.presses; i++) {
    const y = ROW * (i + 0.5) + 4;
    pic.append(svg('line', { class: 'thread', x1: LEFT, x2: wide - RIGHT, y1: y, y2: y }));
    pic.append(svg('text', { class: 'name', x: 6, y: y + 5 }, `press ${i + 1}`));
    const f = start + i * c.spacing;
    if (f < first || f > last) continue;
    const hit = f >= 0 && f < c.window;
    const r = Math.min(cell * 0.46, 13);
    pic.append(svg('rect', { class: hit ? 'press in' : 'press', x: x(f) - r, y: y - 12, width: 2 * r, height: 24, rx: Math.min(r, 9) }));
    if (cell >= 16) pic.append(svg('text', { class: 'press-text', x: x(f), y: y + 5.5, 'text-anchor': 'middle' }, String(i + 1)));
  }

  // The starts: beads on a thick thread.
  const y = ROW * (c.presses + 0.5) + 12;
  pic.append(svg('line', { class: 'thread', x1: LEFT, x2: wide - RIGHT, y1: y, y2: y }));
  pic.append(svg('text', { class: 'name', x: 6, y: y + 5 }, 'starts'));
  for (const [a, b] of c.runs) {
    pic.append(svg('rect', { class: 'run', x: x(a) - cell / 2 + 1, y: y - 11, width: (b - a + 1) * cell - 2, height: 22, rx: 11 }));
    pic.append(svg('text', { class: 'run-text', x: (x(a) + x(b)) / 2, y: y + 6, 'text-anchor': 'middle' }, String(b - a + 1)));
  }
  for (const [a, b] of c.holes) {
    pic.append(svg('rect', { class: 'hole', x: x(a) - cell / 2 + 2, y: y - 8, width: (b - a + 1) * cell - 4, height: 16, rx: 3 }));
    pic.append(svg('text', { class: 'hole-text', x: (x(a) + x(b)) / 2, y: y + 5.5, 'text-anchor': 'middle' }, String(b - a + 1)));
  }
  // The start that is pulled to.
  pic.append(svg('path', { class: 'pulled', d: `M${x(start)} ${y - 13}l-6 -9h12z` }));

  // The hem.
  pic.append(svg('line', { class: 'hem', x1: LEFT, x2: wide - RIGHT, y1: hem, y2: hem }));
  const each = cell >= 24 ? 1 : cell >= 14 ? 2 : cell >= 8 ? 5 : 10;
  for (let f = first; f <= last; f++) {
    const edge = x(f) - cell / 2;
    pic.append(svg('line', { class: 'hem', x1: edge, x2: edge, y1: hem - 4, y2: hem + 4 }));
    if (f % each === 0) pic.append(svg('text', { class: f >= 0 && f < c.window ? 'tick in' : 'tick', x: x(f), y: hem + 24, 'text-anchor': 'middle' }, String(f).replace('-', '−')));
  }
  pic.append(svg('path', { class: 'clasp', d: `M${left} ${hem - 9}v9h${right - left}v-9` }));
  return pic;
}

