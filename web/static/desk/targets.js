// Targets: made from frame data; the cover is drawn while the numbers change.

import { drawCover } from './cover.js';
import { at, build, button, field, h, number, select, sureButton, tick } from './dom.js';
import { count } from './words.js';

/** @typedef {import('./types.js').Target} Target */
/** @typedef {import('./types.js').Cover} Cover */
/** @typedef {import('./main.js').Desk} Desk */

let open = ''; // name of the target being shown
/** What was sent to be worked out last, and what came of it. */
let asked = '';
let wanted = 0;
/** @type {Cover | null} */
let cover = null;
/** @type {Target | null} what is in the fields, given or not */
let draft = null;
let waits = false; // the draft cannot be put in force yet
let ofProfile = '';
let sinceRefused = 0;
let dirty = false; // the draft holds what was not given yet: it is not built anew

/** @param {Desk} d */
const list = (d) => d.profile.targets ?? [];

/** @param {Desk} d */
export function addTarget(d) {
  const names = new Set(list(d).map((t) => t.name));
  let name = 'My link';
  for (let i = 2; names.has(name); i++) name = `My link ${i}`;
  /** @type {Target} */
  const t = { name, frames: 0, link: { advantage: 4, startup: 3, buffer: 0, startup_excludes_active: false }, button: '', early: 'ignored', hold: 0, presses: 2, spacing: 0, starter: '', opening: 0, move: null };
  dirty = false;
  begun = name;
  d.patch({ targets: [...list(d), t], target: name });
}

let begun = ''; // a new target that is to be shown when it is there

/**
 * @param {Desk} d
 * @param {number} refused
 */
export function drawTargets(d, refused) {
  const all = list(d);
  if (all.some((t) => t.name === begun)) open = begun;
  if (!all.some((t) => t.name === open)) open = all.some((t) => t.name === d.profile.target) ? d.profile.target : (all[0]?.name ?? '');
  const target = all.find((t) => t.name === open) ?? null;
  const labels = d.state.buttons.map((b) => b.label);
  if (refused !== sinceRefused) dirty = false;
  sinceRefused = refused;
  if (dirty && draft && target && ofProfile === d.profile.name) return;
  ofProfile = d.profile.name;
  build(at('targets-box'), [d.profile.name, all, open, labels, d.profile.target, refused], () => {
    draft = target ? structuredClone(target) : null;
    waits = dirty = false;
    return [
      h('p', {}, 'A target is the window that you try to hit. Take the numbers from your game’s frame data; what they come to is worked out at once.'),
      h('div', { class: 'beads', role: 'group', 'aria-label': 'Targets' },
        ...all.map((t, i) => button(t.name, () => { open = t.name; dirty = false; d.redraw(); }, { id: `target-${i}`, class: 'choice', 'aria-pressed': t.name === open })),
        button('New target', () => addTarget(d), { id: 'target-new' })),
      target ? editor(d, labels) : h('p', { class: 'quiet' }, `There is none yet. Multi-presses are judged by a window of ${count(d.profile.window, 'frame')}.`),
    ];
  });
  if (draft) ask(d, draft);
  if (begun && target?.name === begun) {
    begun = '';
    at('targets').scrollIntoView({ block: 'start' });
    at('t-name').focus({ preventScroll: true });
  }
}

/**
 * Puts the draft into the settings. One that cannot be judged by waits in the
 * fields, since numbers are given one after another.
 * @param {Desk} d
 */
async function give(d) {
  const t = draft;
  if (!t) return;
  const was = open;
  const profile = d.profile.name;
  dirty = true;
  const c = await ask(d, t);
  if (!c || t !== draft || profile !== d.profile.name) return; // what was asked later is given later
  waits = Boolean(c.error) || (c.window <= 0 && d.profile.target === was);
  show();
  if (waits) return;
  open = t.name;
  dirty = false; // what comes back is what was given
  const done = await d.patch({
    targets: list(d).map((x) => (x.name === was ? t : x)),
    ...(d.profile.target === was && was !== t.name ? { target: t.name } : {}),
  });
  if (!done) open = was;
}

/**
 * Has the draft worked out and drawn, unless it is the one drawn already.
 * @param {Desk} d
 * @param {Target} t
 * @returns {Promise<Cover | null>} null when there is no answer, or a newer question
 */
async function ask(d, t) {
  const key = JSON.stringify(t);
  if (key !== asked || !cover) {
    const n = ++wanted;
    const c = await d.link.cover(t);
    if (n !== wanted || !c) return null;
    asked = key;
    cover = c;
  }
  show();
  return cover;
}

function show() {
  const box = document.getElementById('cover');
  if (!box || !cover || !draft) return;
  drawCover(box, cover, draft, waits);
  for (const e of document.querySelectorAll('#target-fields [aria-invalid]')) e.removeAttribute('aria-invalid');
  if (cover.field) document.getElementById(`t-${cover.field}`)?.setAttribute('aria-invalid', 'true');
}

/**
 * @param {Desk} d
 * @param {string[]} labels
 */
function editor(d, labels) {
  const t = /** @type {Target} */ (draft);
  /**
   * A number of the draft: drawn while it is typed, given when it is done.
   * @param {string} id
   * @param {string} label
   * @param {number} value
   * @param {{min: number, max: number}} limits
   * @param {(v: number) => void} into
   * @param {string} [help]
   */
  const num = (id, label, value, limits, into, help) => {
    const e = number(value, limits, (v) => { into(v); give(d); });
    e.addEventListener('input', () => {
      if (e.value.trim() === '' || !e.validity.valid) return;
      into(e.valueAsNumber);
      dirty = true;
      ask(d, t);
    });
    return field(`t-${id}`, label, e, help, 'frames');
  };
  /** @type {[string, string][]} */
  const buttons = labels.map((l) => [l, l]);
  const name = h('input', { type: 'text', value: t.name, maxlength: 60, autocomplete: 'off', onchange: () => { t.name = name.value.trim(); give(d); } });
  const presses = select([['0', 'as many as it takes'], ['1', 'one press'], ['2', 'a double press'], ['3', 'a triple press'], ['4', 'a quadruple press'], ['5', 'a quintuple press']],
    String(t.presses), (v) => { t.presses = Number(v); give(d); });
  return h('div', { class: 'target' },
    h('div', { id: 'cover', class: 'cover' }),
    h('div', { id: 'target-fields' },
      h('div', { class: 'grid four' },
        field('t-name', 'Name', name),
        field('t-button', 'The button it wants', select([['', 'any button'], ...buttons], t.button, (v) => { t.button = v; give(d); })),
        field('t-presses', 'You aim at', presses),
        num('spacing', 'Spacing you aim at', t.spacing, { min: 0, max: 600 }, (v) => { t.spacing = v; }, 'From press to press. 0 takes the one that covers the most.')),
      windowFields(d, t, num),
      ruleFields(d, t, num),
      anchorFields(d, t, buttons, num),
      h('div', { class: 'buttons' },
        button(d.profile.target === t.name ? 'The strip judges by it' : 'Judge by it', () => d.patch({ target: t.name }), { id: 't-aim', 'aria-pressed': d.profile.target === t.name, class: 'choice' }),
        sureButton('Remove this target', `Really remove “${t.name}”?`, () => d.patch({ targets: list(d).filter((x) => x.name !== t.name), ...(d.profile.target === t.name ? { target: '' } : {}) }), { id: 't-remove', class: 'plain' }))));
}

/** @typedef {(id: string, label: string, value: number, limits: {min: number, max: number}, into: (v: number) => void, help?: string) => HTMLElement} Num */

/**
 * @param {Desk} d
 * @param {Target} t
 * @param {Num} num
 */
function windowFields(d, t, num) {
  const link = t.frames === 0 && t.link ? t.link : null;
  /** @param {boolean} data */
  const choose = (data) => {
    if (data) {
      t.frames = 0;
      t.link = t.link ?? { advantage: 4, startup: 3, buffer: 0, startup_excludes_active: false };
    } else t.frames = Math.max(1, cover?.window ?? 1);
    give(d);
  };
  return h('fieldset', {},
    h('legend', {}, 'The window'),
    h('div', { class: 'row' },
      button('From frame data', () => choose(true), { id: 't-data', class: 'choice', 'aria-pressed': link !== null }),
      button('I know it', () => choose(false), { id: 't-known', class: 'choice', 'aria-pressed': link === null })),
    link
      ? h('div', { class: 'grid' },
        num('advantage', 'Frame advantage of the first move, on hit', link.advantage, { min: -600, max: 600 }, (v) => { link.advantage = v; }, 'How much sooner you can act than the opponent.'),
        num('startup', 'Startup of the second move', link.startup, { min: 0, max: 600 }, (v) => { link.startup = v; }, link.startup_excludes_active ? 'Without its first active frame.' : 'With its first active frame, as most lists count.'),
        num('buffer', 'Buffer', link.buffer, { min: 0, max: 600 }, (v) => { link.buffer = v; }, 'For how many frames the game keeps an early press. 0 if it does not.'),
        tick('t-excludes', 'My list counts startup without the first active frame', link.startup_excludes_active, (on) => { link.startup_excludes_active = on; give(d); }))
      : h('div', { class: 'grid' }, num('frames', 'Window', t.frames, { min: 1, max: 600 }, (v) => { t.frames = v; }, 'In how many frames a press makes the move link.')));
}

/**
 * @param {Desk} d
 * @param {Target} t
 * @param {Num} num
 */
function ruleFields(d, t, num) {
  const [word, reach] = (t.early || 'ignored').split(':');
  const kind = word === 'spoil' && reach ? 'reach' : word;
  return h('details', { id: 't-rules' }, h('summary', {}, 'Rules of this move'),
    h('div', { class: 'grid' },
      field('t-early', 'A press before the window', select([['ignored', 'does nothing'], ['spoil', 'comes out and spoils it'], ['reach', 'spoils it if it comes shortly before']], kind, (v) => {
        t.early = v === 'reach' ? 'spoil:3' : v;
        give(d);
      })),
      kind === 'reach' && num('reach', 'How shortly', Number(reach), { min: 1, max: 600 }, (v) => { t.early = `spoil:${v}`; }),
      num('hold', 'The press must be held', t.hold, { min: 0, max: 600 }, (v) => { t.hold = v; }, '0 if a tap will do.')));
}

/**
 * @param {Desk} d
 * @param {Target} t
 * @param {[string, string][]} buttons
 * @param {Num} num
 */
function anchorFields(d, t, buttons, num) {
  const move = t.opening === 0 ? t.move ?? null : null;
  return h('details', { id: 't-anchor' }, h('summary', {}, 'Judge real attempts: an anchor'),
    h('p', { class: 'help' }, 'With a starter the program knows when the window opens: so many frames after the press of the first move. Then each attempt is told: hit, early or late, and by how much.'),
    h('div', { class: 'grid' },
      field('t-starter', 'The starter is', select([['', 'no button: judge presses alone'], ...buttons], t.starter, (v) => {
        t.starter = v;
        if (v && t.opening === 0 && !t.move) t.move = { startup: 5, active: 3, recovery: 10, hit_stop: 0 };
        give(d);
      }))),
    t.starter !== '' && h('div', { class: 'row' },
      button('From its frame data', () => { t.opening = 0; t.move = t.move ?? { startup: 5, active: 3, recovery: 10, hit_stop: 0 }; give(d); }, { id: 't-move', class: 'choice', 'aria-pressed': move !== null }),
      button('I know the offset', () => { t.opening = Math.max(1, cover?.opening ?? 1); give(d); }, { id: 't-offset', class: 'choice', 'aria-pressed': move === null })),
    t.starter !== '' && (move
      ? h('div', { class: 'grid four' },
        num('m-startup', 'Its startup', move.startup, { min: 1, max: 600 }, (v) => { move.startup = v; }, 'With the first active frame.'),
        num('m-active', 'Active', move.active, { min: 0, max: 600 }, (v) => { move.active = v; }),
        num('m-recovery', 'Recovery', move.recovery, { min: 0, max: 600 }, (v) => { move.recovery = v; }),
        num('m-hitstop', 'Hit stop', move.hit_stop, { min: 0, max: 600 }, (v) => { move.hit_stop = v; }, 'For how long the game stands still when it hits.'))
      : h('div', { class: 'grid' }, num('opening', 'The window opens after', t.opening, { min: 1, max: 600 }, (v) => { t.opening = v; }, 'Counted from the starter’s press.'))));
}
