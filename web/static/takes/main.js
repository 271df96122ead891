// The page of takes: the shelf, and one take or two side by side.

import { date, get, list, long, recording, rateWords, send } from './api.js';
import { Pane } from './pane.js';
import { Plot } from './plots.js';
import { drawCourse } from './whole.js';

/** @typedef {import('./api.js').Listed} Listed */
/** @typedef {import('./api.js').Brief} Brief */

/** @param {string} id @returns {any} */
const byId = (id) => document.getElementById(id);

/** @type {Pane[]} */
const panes = [];
/** @type {Map<string, Brief>} */
const briefs = new Map();
/** @type {Listed[]} */
let shelf = [];
/** @type {Plot | null} */
let over = null;
let moveTimer = 0;
let sayTimer = 0;

/** For tests. */
const hooks = { panes, briefs, ready: false, get over() { return over; } };
/** @type {any} */ (window).holdgapTakes = hooks;

/** @param {string} s */
function say(s) {
  byId('say').textContent = s;
  clearTimeout(sayTimer);
  sayTimer = setTimeout(() => (byId('say').textContent = ''), 12000);
}

async function showShelf() {
  const l = await list();
  shelf = l.takes;
  byId('shelf-folder').textContent = shelf.length === 0
    ? `No take yet in ${l.folder}. Record one from the desk, or with holdgap live --record FILE.`
    : `${shelf.length + l.more} in ${l.folder}${l.more > 0 ? `; the newest ${shelf.length} are shown` : ''}`;
  byId('folds').replaceChildren(...shelf.map(fold));
  for (const t of shelf) if (!t.trouble) await brief(t);
  overTakes();
}

/** @param {Listed} t */
function fold(t) {
  const li = /** @type {HTMLElement} */ (byId('fold').content.cloneNode(true).firstElementChild);
  li.dataset.take = t.name;
  const q = (/** @type {string} */ s) => /** @type {HTMLElement} */ (li.querySelector(s));
  q('h3').textContent = t.name;
  const what = [date(t.start), long(t.seconds)];
  if (t.live) what.push('being recorded');
  else if (!t.closed && !t.trouble) what.push('cut off');
  q('.fold-what').textContent = t.trouble ? t.trouble : what.join(' · ');
  q('.open').addEventListener('click', () => open(t.name, false));
  q('.beside').addEventListener('click', () => open(t.name, true));
  q('.open').setAttribute('aria-label', `Open: ${t.name}`);
  q('.beside').setAttribute('aria-label', `Lay beside: ${t.name}`);
  if (t.trouble) for (const b of li.querySelectorAll('button')) b.disabled = true;
  return li;
}

/** @param {Listed} t */
async function brief(t) {
  const li = /** @type {HTMLElement | null} */ (document.querySelector(`[data-take="${CSS.escape(t.name)}"]`));
  if (!li) return;
  const rate = /** @type {HTMLElement} */ (li.querySelector('.fold-rate'));
  try {
    const b = /** @type {Brief} */ (await get(t.name, 'brief'));
    briefs.set(t.name, b);
    const words = [`${b.presses} presses`];
    if (b.hit.of > 0) words.push(`${b.target || 'target'}: hit ${rateWords(b.hit)}`);
    if (b.covered.of > 0) words.push(`covered ${rateWords(b.covered)}`);
    rate.textContent = words.join(' · ');
    const what = /** @type {HTMLElement} */ (li.querySelector('.fold-what'));
    what.textContent += ` · ${b.profile}${b.demo ? ' · demo' : ''}`;
    drawCourse(/** @type {HTMLCanvasElement} */ (li.querySelector('canvas')), b.course);
  } catch (e) {
    rate.textContent = e instanceof Error ? e.message : String(e);
  }
}

/** The rate of each take over time, of hits where there is a target. */
function overTakes() {
  const points = shelf.flatMap((t) => {
    const b = briefs.get(t.name);
    if (!b) return [];
    const rate = b.hit.of > 0 ? b.hit : b.covered;
    const x = new Date(t.start).getTime() / 1000;
    return rate.of > 0 && x > 0 ? [{ x, rate }] : [];
  }).sort((a, b) => a.x - b.x);
  byId('over').hidden = points.length < 2;
  over?.close();
  over = null;
  if (points.length < 2) return;
  over = new Plot(byId('over-plot'));
  over.rates(points, { time: true, label: '' });
}

/**
 * Opens a take alone, or beside the one that is open.
 * @param {string} name
 * @param {boolean} beside
 * @param {number} [at] frame
 */
async function open(name, beside, at) {
  if (!beside) while (panes.length > 0) away(panes[0]);
  else if (panes.length > 1) away(panes[1]);
  const p = new Pane(byId('pane'), name, { say, closed: away, moved, changed: () => showShelf().catch(told) });
  panes.push(p);
  byId('panes').append(p.root);
  document.body.classList.toggle('two', panes.length > 1);
  try {
    await p.load(at);
    moved();
    if (at === undefined) {
      p.root.scrollIntoView({ block: 'start' });
      p.q('h2').focus({ preventScroll: true });
    }
  } catch (e) {
    away(p);
    told(e);
  }
}

/** @param {Pane} p */
function away(p) {
  const i = panes.indexOf(p);
  if (i >= 0) panes.splice(i, 1);
  p.close();
  document.body.classList.toggle('two', panes.length > 1);
  moved();
}

/** @param {unknown} e */
function told(e) {
  say(e instanceof Error ? e.message : String(e));
}

/** Keeps in the address what is open and where the eye is. */
function moved() {
  clearTimeout(moveTimer);
  moveTimer = setTimeout(() => {
    const q = new URLSearchParams();
    panes.forEach((p, i) => {
      q.set(i ? 'beside' : 'take', p.take);
      q.set(i ? 'beside_at' : 'at', String(Math.round(p.frame)));
    });
    history.replaceState(null, '', q.size > 0 ? `#${q}` : location.pathname);
  }, 250);
}

async function showRecording() {
  const r = await recording();
  byId('record').hidden = !r.able;
  byId('record-toggle').textContent = r.on ? 'Stop recording' : 'Record';
  byId('record-recent').hidden = !r.ring;
}

/** @param {string} what @param {string} words */
async function record(what, words) {
  try {
    await send('/takes/recording', { do: what });
    say(words);
  } catch (e) {
    told(e);
  }
  await showRecording();
  await showShelf();
}

async function begin() {
  byId('record-toggle').addEventListener('click', async () => {
    const r = await recording();
    if (r.on) await record('stop', `Recorded ${r.name}.`);
    else await record('start', 'Recording.');
  });
  byId('record-recent').addEventListener('click', () => record('recent', 'The last minutes are on the shelf.'));
  const asked = new URLSearchParams(location.hash.slice(1));
  const at = (/** @type {string} */ k) => (asked.has(k) ? Number(asked.get(k)) : undefined);
  const first = asked.get('take');
  const second = asked.get('beside');
  if (first) await open(first, false, at('at'));
  if (second) await open(second, true, at('beside_at'));
  await Promise.all([showShelf(), showRecording()]);
  hooks.ready = true;
}

/** Draws the shelf's pictures anew, in the colours and at the size of now. */
function redraw() {
  for (const [name, b] of briefs) {
    const c = document.querySelector(`[data-take="${CSS.escape(name)}"] canvas`);
    if (c instanceof HTMLCanvasElement) drawCourse(c, b.course);
  }
}
matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => {
  redraw();
  overTakes();
});
addEventListener('resize', redraw);

addEventListener('load', () => begin().catch(told));
