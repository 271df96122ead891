// Controllers: what is there, what is down on it right now, how often it reports;
// and reading a gamepad through this page.

import { startCapture } from '../pad/capture.js';
import { at, build, button, h, put } from './dom.js';
import { downOf, lastOf, reportWords, sourceWords } from './words.js';

/** What this page reads and sees itself. */
export const here = {
  on: false,
  /** Name of a gamepad that the browser shows and nobody reads. */
  sees: '',
  /** What keeps the page from reading. */
  trouble: '',
};

/** @type {import('../pad/capture.js').Running | null} */
let running = null;
let looking = 0;

/** @param {import('./main.js').Desk} d */
export function drawControllers(d) {
  const list = d.state.devices;
  build(at('controllers-box'), [list.map((x) => [x.id, x.name, x.source, x.keyboard, x.path])], () => [
    list.length === 0 && h('p', {}, 'None yet. Plug one in: it shows up here by itself.'),
    list.length > 0 && h('ul', { class: 'devices' }, ...list.map((x) => h('li', { 'data-device': x.id },
      h('h3', {}, x.name),
      h('p', { class: 'quiet' }, sourceWords(x), x.path ? ` · ${x.path}` : ''),
      h('p', { class: 'down', 'data-down': x.id }),
      h('p', { class: 'quiet', 'data-report': x.id })))),
  ]);
  drawHere(d);
}

/** The parts that move while somebody plays. @param {import('./main.js').Desk} d */
export function showDevices(d) {
  for (const x of d.state.devices) {
    const down = document.querySelector(`[data-down="${x.id}"]`);
    const report = document.querySelector(`[data-report="${x.id}"]`);
    if (!down || !report) continue;
    const now = downOf(x);
    down.classList.toggle('none', now === '');
    put(down, now || (d.state.paused ? 'hands off' : x.last ? `nothing down · last ${lastOf(x)}` : 'nothing down'));
    put(report, reportWords(x, d.state.frame_ms));
  }
}

/** @param {import('./main.js').Desk} d */
function drawHere(d) {
  if (!looking) looking = window.setInterval(() => look(d.redraw), 700);
  build(at('here-box'), [d.state.pads, here, typeof navigator.getGamepads], () => {
    if (!d.state.pads) return [];
    if (typeof navigator.getGamepads !== 'function') {
      return [h('p', { class: 'quiet' }, 'This browser cannot read a gamepad. The page /pad in a current one can, on any machine.')];
    }
    return [h('div', { class: 'here' },
      h('p', {}, here.on
        ? `This page reads the gamepads of this browser, while it is in sight. ${here.trouble ? `Now: ${here.trouble}.` : ''}`
        : here.sees ? `This browser sees ${here.sees}, and nobody reads it here.`
          : 'A controller that the program does not find itself can be read by this page, in this browser.'),
      h('p', { class: 'help' }, 'Only one may read a controller, or every press counts twice. For a game in full screen let the strip read it instead: see “Read the gamepad in the browser source” at its address.'),
      button(here.on ? 'Stop reading it here' : 'Read it through this page', () => readHere(d, !here.on), { id: 'read-here' }))];
  });
}

/**
 * Looks whether the browser shows a gamepad that nobody reads.
 * @param {() => void} redraw
 */
function look(redraw) {
  let sees = '';
  if (!here.on && typeof navigator.getGamepads === 'function') {
    try {
      for (const g of navigator.getGamepads()) if (g && g.connected !== false) sees = g.id.replace(/\s*\(.*$/, '');
    } catch (e) {
      sees = ''; // forbidden here
    }
  }
  if (sees === here.sees) return;
  here.sees = sees;
  redraw();
}

/**
 * Begins or ends to read gamepads through this page. Keys of the keyboard stay
 * with the page, which is written into.
 * @param {import('./main.js').Desk} d
 * @param {boolean} on
 */
export function readHere(d, on) {
  here.on = on;
  here.trouble = '';
  if (!on) {
    running?.stop();
    running = null;
  } else if (!running) {
    running = startCapture({
      keyboard: false,
      status: (trouble) => {
        if (trouble === here.trouble) return;
        here.trouble = trouble;
        d.redraw();
      },
    });
  }
  d.redraw();
}
