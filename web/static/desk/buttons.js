// Buttons: label, keys, order. Each row is a thread; its bead moves while the
// button is down.

import { startBinding } from './bind.js';
import { at, build, button, h, select, sureButton } from './dom.js';
import { keyWords } from './words.js';

/** @typedef {import('./types.js').Button} Button */
/** @typedef {import('./main.js').Desk} Desk */

/** @type {[string, string][]} */
const ROLES = [['action', 'an action'], ['up', 'the direction up'], ['down', 'the direction down'], ['left', 'the direction left'], ['right', 'the direction right']];

/**
 * @param {Desk} d
 * @param {number} refused
 */
export function drawButtons(d, refused) {
  const own = d.profile.buttons ?? [];
  build(at('buttons-box'), [d.profile.name, own, own.length === 0 && d.state.buttons.length, refused], () => (own.length === 0 ? none(d) : [
    h('p', {}, 'A button is what you call it; one or more keys of a controller are bound to it, and any of them holds it down. The strip shows them in this order.'),
    h('ol', { class: 'warp' }, ...own.map((b, i) => row(d, own, b, i))),
    h('div', { class: 'buttons' }, button('Add by pressing', () => startBinding(d, ''), { id: 'add-button', class: 'strong' })),
  ]));
  follow(own);
}

/** @param {Desk} d */
function none(d) {
  return [
    h('p', {}, `Nothing is bound by hand yet: all of the ${d.state.buttons.length} keys that a controller can have are buttons, named after where they sit, and the strip shows those you press.`),
    h('div', { class: 'buttons' },
      button('Bind by pressing', () => startBinding(d, ''), { id: 'add-button', class: 'strong' }),
      button('Keep them all, and let me change them', () => d.link.send({ do: 'own', profile: d.profile.name }), { id: 'own-buttons' })),
  ];
}

/**
 * @param {Desk} d
 * @param {Button[]} own
 * @param {Button} b
 * @param {number} i
 */
function row(d, own, b, i) {
  const label = h('input', { type: 'text', id: `label-${i}`, value: b.label, maxlength: 24, autocomplete: 'off', spellcheck: 'false', 'aria-label': `Name of button ${i + 1}`,
    onchange: () => { if (label.value.trim() !== b.label) d.link.send({ do: 'label', profile: d.profile.name, button: b.label, to: label.value.trim() }); } });
  const role = select(ROLES, b.role, (v) => change(d, own, i, { ...b, role: v }));
  role.id = `role-${i}`;
  role.setAttribute('aria-label', `${b.label} is`);
  const keys = b.keys ?? [];
  return h('li', { 'data-button': b.label },
    h('span', { class: 'thread', 'aria-hidden': 'true' }, h('span', { class: 'knot' })),
    h('div', { class: 'what' }, label, role),
    h('ul', { class: 'keys', 'aria-label': `Keys of ${b.label}` },
      ...keys.map((k, j) => h('li', {}, keyWords(k), button('×', () => change(d, own, i, { ...b, keys: keys.filter((x) => x !== k) }),
        { id: `unkey-${i}-${j}`, class: 'x', 'aria-label': `Unbind ${keyWords(k)} from ${b.label}` }))),
      keys.length === 0 && h('li', { class: 'quiet' }, 'no key yet')),
    h('div', { class: 'acts' },
      button('Bind', () => startBinding(d, b.label), { id: `bind-${i}`, 'aria-label': `Bind ${b.label} by pressing` }),
      button('↑', () => swap(d, own, i, i - 1), { id: `up-${i}`, class: 'small', disabled: i === 0, 'aria-label': `Move ${b.label} up` }),
      button('↓', () => swap(d, own, i, i + 1), { id: `down-${i}`, class: 'small', disabled: i === own.length - 1, 'aria-label': `Move ${b.label} down` }),
      sureButton('Remove', 'Really?', () => d.link.send({ do: 'unbutton', profile: d.profile.name, button: b.label }), { id: `remove-${i}`, class: 'plain', 'aria-label': `Remove ${b.label}` })));
}

/**
 * @param {Desk} d
 * @param {Button[]} own
 * @param {number} i
 * @param {Button} b
 */
function change(d, own, i, b) {
  d.patch({ buttons: own.map((x, j) => (j === i ? b : x)) });
}

/** A button on its way to another place, and which control has the focus. */
let moving = { label: '', to: 0, way: '' };

/**
 * Moves a button; the focus goes with it.
 * @param {Desk} d
 * @param {Button[]} own
 * @param {number} from
 * @param {number} to
 */
async function swap(d, own, from, to) {
  const list = [...own];
  [list[from], list[to]] = [list[to], list[from]];
  moving = { label: own[from].label, to, way: to < from ? 'up' : 'down' };
  if (await d.patch({ buttons: list })) d.say(`${own[from].label} is number ${to + 1} now.`);
  else moving.label = '';
}

/** @param {Button[]} own as drawn */
function follow(own) {
  const { label, to, way } = moving;
  if (!label || own[to]?.label !== label) return;
  moving.label = '';
  const e = /** @type {HTMLButtonElement} */ (at(`${way}-${to}`));
  (e.disabled ? at(`bind-${to}`) : e).focus();
}

/** Beads of buttons that are down. @param {Desk} d */
export function showDown(d) {
  const down = new Set(d.state.devices.flatMap((x) => x.down.map((k) => k.label)));
  for (const e of document.querySelectorAll('[data-button]')) {
    e.classList.toggle('is-down', down.has(/** @type {HTMLElement} */ (e).dataset.button));
  }
}
