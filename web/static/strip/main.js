// The strip: connects, keeps the state, and draws it anew for every frame of the
// display on which something moved.

import { Clock } from '../lib/clock.js';
import { Governor, reducedMotion } from '../lib/flash.js';
import { apply, createState, headFrame } from '../lib/state.js';
import { loadTheme } from '../lib/theme.js';
import { Viewer, socketURL } from '../lib/wire.js';
import { Painter } from './draw.js';
import { buttonIndex, layout } from './layout.js';
import { readOptions } from './options.js';
import { Scene } from './scene.js';

/** @typedef {import('../lib/types.js').Update} Update */

const STANDARD_THEME = 'lantern';
const QUEUE = 20000; // updates held back for the delay at most
const LOST = 2000; // ms without a connection before the strip says so

const options = readOptions(location.search, reducedMotion());
const canvas = /** @type {HTMLCanvasElement} */ (document.getElementById('cloth'));
const painter = new Painter(canvas);
const scene = new Scene();
const state = createState(options.rest);
const clock = new Clock(1000 / 60);
const governor = new Governor({ perSecond: options.flashes, style: options.flash });
const size = { w: 0, h: 0, dpr: 1 };

/** @type {import('../lib/types.js').Theme | null} */
let theme = null;
let themeAsked = '';
let themeTrouble = '';
let linkTrouble = '';
let playTrouble = '';
let lostSince = 0;
/** @type {Update[]} */
let queue = [];
let stale = true; // something other than the head has changed
let drawnHead = NaN;
let drawnLink = false;
/** @type {string[]} */
let notes = [];
let noted = '';
/** @type {unknown} */
let notedStatus = null;
/** @type {unknown} */
let notedSetup = null;

/** For tests: what the page knows, and how often it has drawn. */
const hooks = { state, scene, options, draws: 0, frame: NaN, redraw, notes: () => notes, theme: () => theme };
/** @type {any} */ (window).holdgap = hooks;

function measureWindow() {
  size.w = window.innerWidth;
  size.h = window.innerHeight;
  size.dpr = window.devicePixelRatio || 1;
  stale = true;
}

/** @param {Update} u */
function receive(u) {
  const now = performance.now();
  if (u.whole) {
    if (clock.known && Math.abs(u.f - clock.frame(now)) > 600) clock.reset(); // the program began anew
    queue = [];
  }
  if (u.setup) {
    clock.setFrame(u.setup.frame_ms);
    follow(u.setup.strip ?? {});
  }
  clock.observe(u.f, now);
  if (options.delay > 0 && options.frame === null && !u.whole) {
    queue.push(u);
    if (queue.length > QUEUE) apply(state, /** @type {Update} */ (queue.shift()));
  } else {
    take(u);
  }
  if (options.frame !== null) still();
}

let followed = '{}';

/**
 * Takes the options chosen on the desk, at once and whatever the delay.
 * @param {Record<string, string>} desk
 */
function follow(desk) {
  const key = JSON.stringify(desk);
  if (key === followed) return;
  followed = key;
  Object.assign(options, readOptions(location.search, reducedMotion(), desk));
  state.rest = options.rest;
  governor.perSecond = options.flashes;
  governor.style = options.flash;
  noted = '?'; // what is wrong with them may be another
  stale = true;
}

/** @param {Update} u */
function take(u) {
  apply(state, u);
  stale = true;
  if (u.setup) wantTheme();
}

function wantTheme() {
  const setup = state.setup;
  if (!setup) return;
  const name = options.theme || setup.theme || STANDARD_THEME;
  const key = `${name} ${setup.theme_rev}`;
  if (key === themeAsked) return;
  themeAsked = key;
  fetchTheme(name, setup.theme_rev, key);
}

/**
 * @param {string} name
 * @param {number} rev
 * @param {string} key
 */
async function fetchTheme(name, rev, key) {
  let got = null;
  let trouble = '';
  try {
    got = await loadTheme(name, rev);
  } catch (e) {
    trouble = `theme=${name}: ${e instanceof Error ? e.message : e}; using ${theme ? theme.label : STANDARD_THEME}`;
    if (!theme) got = await loadTheme(STANDARD_THEME, rev).catch(() => null);
  }
  if (key !== themeAsked) return; // another was asked for meanwhile
  themeTrouble = trouble;
  if (got) {
    theme = got;
    painter.wear(got);
  }
  stale = true;
  if (options.frame !== null) still();
}

/** What is to be told in the corner; the same array while nothing changes. */
function collectNotes() {
  const now = performance.now();
  const lost = lostSince > 0 && now - lostSince > LOST;
  const troubles = state.status && state.status.troubles ? state.status.troubles : NO_TROUBLES;
  const key = `${themeTrouble}|${lost}|${lost ? linkTrouble : ''}|${playTrouble}`;
  if (key === noted && state.status === notedStatus && state.setup === notedSetup) return;
  noted = key;
  notedStatus = state.status;
  notedSetup = state.setup;
  const all = [...options.wrong];
  if (options.buttons && state.setup) {
    for (const b of options.buttons) {
      if (buttonIndex(state.setup.buttons, b) < 0) all.push(`buttons=${b}: no button has this label`);
    }
  }
  if (themeTrouble) all.push(themeTrouble);
  if (playTrouble) all.push(playTrouble);
  if (lost) all.push(linkTrouble || 'no connection to holdgap: trying again');
  for (const t of troubles) all.push(t.text);
  notes = all;
  stale = true;
}

/** @type {import('../lib/types.js').Trouble[]} */
const NO_TROUBLES = [];

/** @param {number} f */
function redraw(f) {
  if (!theme) return;
  collectNotes();
  layout(scene, state, f, options, size, theme, painter.measure, notes);
  painter.draw(scene, theme, options, size, governor, clock.frameMS, state);
  hooks.draws++;
  hooks.frame = f;
  stale = false;
  drawnHead = scene.head;
}

/** Draws the one frame that was asked for. */
function still() {
  if (!theme || !state.setup || options.frame === null) return;
  redraw(options.frame);
  document.documentElement.dataset.drawn = new URLSearchParams(location.search).get('frame') ?? '';
}

function tick() {
  requestAnimationFrame(tick);
  const now = performance.now();
  if (!clock.known) {
    if (options.wrong.length > 0 || lostSince > 0) alone();
    return;
  }
  const f = clock.frame(now) - options.delay / clock.frameMS;
  let n = 0;
  while (n < queue.length && queue[n].f <= f) take(queue[n++]);
  if (n > 0) queue.splice(0, n);
  const lost = lostSince > 0 && now - lostSince > LOST;
  if (lost !== drawnLink) {
    drawnLink = lost;
    stale = true;
  }
  if (stale || headFrame(state, f) !== drawnHead || flashing(f)) redraw(f);
}

/** Before anything was heard: only what is wrong is shown. */
function alone() {
  if (themeAsked === '') {
    themeAsked = 'alone';
    fetchTheme(options.theme || STANDARD_THEME, 0, themeAsked);
  }
  if (theme && (stale || drawnLink !== performance.now() - lostSince > LOST)) {
    drawnLink = performance.now() - lostSince > LOST;
    redraw(0);
  }
}

/** @param {number} f */
function flashing(f) {
  for (let i = 0; i < state.flashes.length; i++) {
    const age = f - state.flashes[i].f;
    if (age >= 0 && age < 90) return true;
  }
  return false;
}

async function play() {
  try {
    // Where browsers capture, another module does it; a name made at run time keeps
    // this page working without it.
    const where = '/static/pad/capture.js';
    const m = await import(where);
    await m.startCapture({
      /** @param {string} s */
      status: (s) => {
        playTrouble = s;
        stale = true;
      },
    });
  } catch (e) {
    playTrouble = `play=1: this browser source cannot read a gamepad (${e instanceof Error ? e.message : e})`;
    stale = true;
  }
}

measureWindow();
addEventListener('resize', () => {
  measureWindow();
  if (options.frame !== null) still();
});

new Viewer({
  url: socketURL('/wire/view'),
  update: receive,
  link: (up, why) => {
    if (up) lostSince = 0;
    else if (lostSince === 0) lostSince = performance.now();
    linkTrouble = why;
    stale = true;
  },
});
if (options.play) play();
if (options.frame === null) requestAnimationFrame(tick);
