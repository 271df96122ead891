// The strip: theme and options, live in the preview and on every strip; delay;
// the address to copy, made from the table of the strip's options.

import { OPTIONS } from '../strip/options.js';
import { at, build, button, copy, field, h, number, select, tick } from './dom.js';

/** @typedef {import('../strip/options.js').Option} Option */
/** @typedef {import('./main.js').Desk} Desk */

/** Options that are set elsewhere than in the list. */
const APART = new Set(['theme', 'delay', 'frame', 'token', 'k', 'play']);

/** What the address is to hold. */
const address = { pinned: false, play: false };
/** The picture behind the preview; the user's own never leaves this page. */
let scene = 'dark';
let picture = '';

/** @param {Desk} d */
const options = (d) => d.state.settings.strip.options ?? {};

/**
 * @param {Desk} d
 * @param {string} name
 * @param {string | null} value null for the usual one
 */
function setOption(d, name, value) {
  const o = OPTIONS.find((x) => x.name === name);
  d.set({ strip: { options: { [name]: value === null || value === o?.normal ? null : value } } });
}

/**
 * @param {Desk} d
 * @param {number} refused
 */
export function drawStrip(d, refused) {
  drawThemes(d);
  drawScene(d);
  const set = options(d);
  build(at('delay-box'), [set.delay, refused], () => [
    field('delay', 'Delay', number(Number(set.delay ?? 0), { min: 0, max: 5000 }, (v) => setOption(d, 'delay', String(v))), 'Shows everything this much later, so that the strip meets a game picture that comes late. Press a button and compare.', 'ms'),
  ]);
  const labels = d.state.buttons.map((b) => b.label);
  build(at('options-box'), [set, labels, (d.profile.buttons ?? []).length > 0, refused], () => [
    h('details', { id: 'options' }, h('summary', {}, 'More about how it looks'),
      h('p', { class: 'help' }, 'All strips follow at once whose address does not say otherwise. Strips, too, tell in a corner what they cannot do.'),
      h('div', { class: 'grid' }, ...OPTIONS.filter((o) => !APART.has(o.name)).map((o) => option(d, o, set[o.name] ?? o.normal, labels)))),
  ]);
  drawAddress(d);
}

/** @param {Desk} d */
function drawThemes(d) {
  const s = d.state;
  const worn = s.settings.strip.theme || s.standard;
  build(at('theme-box'), [s.themes, worn], () => [
    h('fieldset', { class: 'beads' }, h('legend', {}, 'Theme'),
      ...s.themes.map((t) => h('label', { class: 'bead', for: `theme-${t.name}` },
        h('input', { type: 'radio', name: 'theme', id: `theme-${t.name}`, checked: t.name === worn, onchange: () => d.set({ strip: { theme: t.name } }) }),
        h('span', {}, h('b', {}, t.label), ` ${t.about}`)))),
    !s.themes.some((t) => t.name === worn) && h('p', { class: 'help warn' }, `The theme “${worn}” that is set is not there: strips wear ${s.standard}.`),
  ]);
}

/** @param {Desk} d */
function drawScene(d) {
  const stage = at('stage');
  stage.dataset.scene = scene;
  stage.style.backgroundImage = scene === 'own' && picture ? `url("${picture}")` : '';
  build(at('scene-box'), [scene, picture !== ''], () => {
    const file = h('input', { type: 'file', accept: 'image/*', id: 'scene-file', class: 'visually-hidden', onchange: () => {
      const f = file.files?.[0];
      if (!f) return;
      if (picture) URL.revokeObjectURL(picture);
      picture = URL.createObjectURL(f);
      scene = 'own';
      d.redraw();
    } });
    /** @param {string} name @param {string} words */
    const choice = (name, words) => button(words, () => { scene = name; d.redraw(); }, { id: `scene-${name}`, class: 'choice', 'aria-pressed': scene === name });
    return [
      h('div', { class: 'row', role: 'group', 'aria-label': 'Behind the preview' },
        choice('dark', 'Over a dark game'), choice('bright', 'Over a bright one'),
        picture !== '' && choice('own', 'Over my picture'),
        h('span', { class: 'file' }, file, h('label', { for: 'scene-file' }, picture ? 'Another picture…' : 'A picture of my own…'))),
      h('p', { class: 'help' }, 'Your picture stays in this page: it is not uploaded.'),
    ];
  });
}

/**
 * A control for an option of the table.
 * @param {Desk} d
 * @param {Option} o
 * @param {string} value
 * @param {string[]} labels
 */
function option(d, o, value, labels) {
  const id = `o-${o.name}`;
  const name = o.name[0].toUpperCase() + o.name.slice(1);
  /** @param {string | null} v */
  const give = (v) => setOption(d, o.name, v);
  switch (o.kind) {
    case 'switch':
      return tick(id, name, value === '1', (on) => give(on ? '1' : '0'), o.help.replace(/^1 /, 'Ticked: ').replace(/^0 /, 'Not ticked: '));
    case 'choice':
      return field(id, name, select((o.values ?? []).map((v) => [v, v]), value, give), o.help);
    case 'number': {
      const auto = (o.also ?? []).includes('auto');
      const e = h('input', { type: 'number', min: o.min, max: o.max, step: o.whole ? 1 : 'any', value: value === 'auto' ? '' : value, placeholder: auto ? 'auto' : undefined,
        onchange: () => { if (!e.validity.valid) e.reportValidity(); else if (e.value === '') give(null); else give(e.value); } });
      return field(id, name, e, `${o.help}${auto ? ' Empty is auto.' : ''}`, o.unit);
    }
    case 'set': {
      const on = new Set(value === 'none' ? [] : value.split(','));
      return group(id, name, o.values ?? [], on, (set) => give(set.length > 0 ? set.join(',') : 'none'), o.help);
    }
    case 'list': {
      const on = new Set(value === 'auto' ? [] : value.split(','));
      return group(id, name, labels, on, (set) => give(set.length > 0 ? set.join(',') : null), 'Which buttons have a thread, in the order of the list. None ticked: those pressed so far.');
    }
    case 'colour': {
      const fixed = o.also ?? [];
      const own = !fixed.includes(value);
      const colour = h('input', { type: 'color', id: `${id}-own`, value: own ? `#${value.replace('#', '').slice(0, 6)}` : '#10201c', 'aria-label': `${name}: the colour`, onchange: () => give(colour.value.slice(1)) });
      const e = select([...fixed.map((v) => /** @type {[string, string]} */ ([v, v])), ['own', 'a colour']], own ? 'own' : value, (v) => give(v === 'own' ? colour.value.slice(1) : v));
      const f = field(id, name, e, o.help);
      if (own) f.append(colour);
      return f;
    }
    default:
      return field(id, name, h('input', { type: 'text', value, onchange: (/** @type {Event} */ e) => give(/** @type {HTMLInputElement} */ (e.target).value.trim() || null) }), o.help);
  }
}

/**
 * @param {string} id
 * @param {string} name
 * @param {string[]} all
 * @param {Set<string>} on
 * @param {(set: string[]) => void} give
 * @param {string} help
 */
function group(id, name, all, on, give, help) {
  return h('fieldset', { class: 'set' }, h('legend', {}, name),
    h('div', { class: 'ticks' }, ...all.map((v, i) => tick(`${id}-${i}`, v, on.has(v), (x) => {
      const next = new Set(on);
      if (x) next.add(v);
      else next.delete(v);
      give(all.filter((a) => next.has(a)));
    }))),
    h('p', { class: 'help' }, help));
}

/**
 * The strip's address: short, following the desk, or with all that is set now.
 * @param {Desk} d
 * @param {string} [base]
 * @param {string} [token]
 */
export function addressOf(d, base = d.state.base, token = '') {
  const q = new URLSearchParams();
  if (address.pinned) {
    q.set('theme', d.state.settings.strip.theme || d.state.standard);
    for (const o of OPTIONS) {
      const v = options(d)[o.name];
      if (o.name !== 'theme' && !(o.name === 'play') && v !== undefined) q.set(o.name, v);
    }
  }
  if (address.play) q.set('play', '1');
  if (token) q.set('k', token);
  const text = q.toString().replaceAll('%2C', ',');
  return `${base}/strip${text ? `?${text}` : ''}`;
}

/**
 * @param {Desk} d
 * @param {HTMLElement} shown
 */
export async function copyAddress(d, shown) {
  d.say(await copy(addressOf(d), shown));
}

/** @param {Desk} d */
function drawAddress(d) {
  const text = addressOf(d);
  build(at('address-box'), [text, address, d.state.pads], () => [
    h('h3', {}, 'Its address'),
    h('p', {}, 'Add it in your streaming program as a browser source, about 1280 wide and 240 high.'),
    h('p', { class: 'copyline' }, h('code', { id: 'strip-address' }, text), button('Copy', () => copyAddress(d, at('strip-address')), { id: 'strip-copy' })),
    tick('pinned', 'Write all of the above into the address', address.pinned, (on) => { address.pinned = on; d.redraw(); }, 'Then this strip keeps its looks, whatever you change here later. Otherwise it follows the desk.'),
    d.state.pads && tick('play', 'Read the gamepad in the browser source', address.play, (on) => { address.play = on; d.redraw(); }, 'For systems on which the program cannot read the controller itself. Only one may read it, or every press counts twice.'),
    h('details', { id: 'strip-qr' }, h('summary', {}, 'As a code to scan'),
      h('img', { class: 'qr', alt: `A code with the address ${text}`, src: `/desk/qr.svg?text=${encodeURIComponent(text)}`, width: 220, height: 220 }),
      h('p', { class: 'help' }, 'This address works on this machine. For another one see Other machines.')),
  ]);
}
