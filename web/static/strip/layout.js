// Where everything on the strip goes: a pure function of state, frame, options,
// size, theme and the widths of texts. It draws nothing. See geometry.js for the
// two directions, along and across.

import { clip, FINE, g, geometry, travel } from './geometry.js';
import { bands, cuts, flashes, hem, multis, outcomes } from './lay-hem.js';
import { labels, shuttle, told } from './lay-notes.js';
import { directions, presses, thread } from './lay-presses.js';

/**
 * @typedef {import('../lib/state.js').State} State
 * @typedef {import('../lib/types.js').Theme} Theme
 * @typedef {import('./options.js').StripOptions} StripOptions
 * @typedef {import('./scene.js').Scene} Scene
 * @typedef {(text: string) => number} Measure  width of a text in ems
 */

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
  geometry(scene, state, f, o, size, theme, measure, turned);
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
  cuts(scene, state, first + scene.rows.length);
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
