// Binding by pressing: a dialog that waits, says what it hears, and asks when a
// key is another button's already.

import { at, build, button, h } from './dom.js';
import { keyWords } from './words.js';

/** @typedef {import('./main.js').Desk} Desk */

/** @type {Desk | null} */
let desk = null;
let mine = false; // a binding of this desk is going on

const dialog = /** @type {HTMLDialogElement} */ (at('bind'));

/**
 * @param {Desk} d
 * @param {string} label button to bind; empty: each press makes a new one
 */
export function startBinding(d, label) {
  d.link.send({ do: 'bind', profile: d.profile.name, ...(label ? { button: label } : {}) });
}

/** @param {Desk} d */
export function drawBind(d) {
  desk = d;
  const b = d.state.binding;
  const active = b !== null && b.active && b.desk === d.link.me;
  if (active && !dialog.open) {
    dialog.showModal();
    mine = true;
  }
  if (!active) {
    if (dialog.open) dialog.close();
    if (b && mine) d.say(b.desk === d.link.me ? b.said : 'Another desk binds a button now. What was bound here stays.');
    mine = false;
    return;
  }
  const fresh = b.button === '';
  // The words have a box of their own, so that a screen reader hears only them.
  if (dialog.childElementCount === 0 || dialog.dataset.for !== b.button) {
    dialog.dataset.for = b.button;
    dialog.replaceChildren(
      h('h2', { id: 'bind-title', tabindex: -1 }, fresh ? 'Press the buttons you use' : `Press what should be “${b.button}”`),
      h('p', {}, fresh ? 'One after another, on the controller. Each becomes a button of its own, named after where it sits; you rename it afterwards.' : 'On the controller, once. Several keys may be one button: bind them one after another.'),
      h('p', { class: 'said', id: 'bind-said', role: 'status', 'aria-live': 'polite' }),
      h('div', { id: 'bind-asks' }),
      h('div', { class: 'keycatch' },
        button('A key on a keyboard: choose this, then press it', () => undefined, { id: 'bind-key', class: 'catch', onkeydown: (/** @type {KeyboardEvent} */ e) => caught(d, e) }),
        h('p', { class: 'help' }, 'A keyboard key is bound here only. From then on the program reads that key, and no other: what else you type never reaches it.')),
      h('div', { class: 'buttons' }, button(fresh ? 'Done' : 'Stop', () => d.link.send({ do: 'unbind' }), { id: 'bind-done', class: 'strong' })));
    at('bind-title').focus();
  }
  const said = at('bind-said');
  if (said.textContent !== b.said) said.textContent = b.said;
  build(at('bind-asks'), [b.asks, b.button], () => {
    const asks = b.asks;
    if (!asks) return [];
    return [h('div', { class: 'buttons asks' },
      button(`Move ${keyWords(asks.key)} from “${asks.owner}” to “${b.button}”`, () => d.link.send({ do: 'move' }), { id: 'bind-move' }),
      button('Leave it, and press another', () => d.link.send({ do: 'leave' }), { id: 'bind-leave' }))];
  });
}

/**
 * Takes one key of the keyboard, on the one element that is for that.
 * @param {Desk} d
 * @param {KeyboardEvent} e
 */
function caught(d, e) {
  if (e.code === 'Tab' || e.code === 'Escape' || e.repeat) return;
  e.preventDefault();
  d.link.send({ do: 'bindkey', code: e.code });
}

// Escape closes a dialog: that ends the binding as well.
dialog.addEventListener('cancel', (e) => {
  e.preventDefault();
  desk?.link.send({ do: 'unbind' });
});
