// Takes, as far as the desk has to do with them, and chords on the controller.

import { at, build, button, field, h, number, select, tick } from './dom.js';

/** @typedef {import('./main.js').Desk} Desk */

/**
 * @param {Desk} d
 * @param {number} refused
 */
export function drawTakes(d, refused) {
  const s = d.state;
  at('takes').hidden = !s.takes;
  at('nav-takes').hidden = !s.takes;
  if (!s.takes) return;
  const note = h('input', { type: 'text', maxlength: 200, value: '', autocomplete: 'off' });
  build(at('takes-box'), [s.take, s.settings.takes, refused], () => [
    h('p', {}, s.take ? 'Recording. A mark is for finding a moment again.' : 'A take is a recorded session: the presses, not the picture. Record and stop at the top.'),
    s.take && h('div', { class: 'row' }, field('mark-note', 'Mark with a note', note), button('Set the mark', () => d.link.send({ do: 'mark', note: note.value }).then((done) => { if (done) note.value = ''; }), { id: 'mark-set' })),
    h('div', { class: 'row' },
      field('ring', 'Always keep the last', number(s.settings.takes.ring_minutes, { min: 0, max: 120 }, (v) => d.set({ takes: { ring_minutes: v } })), '0 keeps nothing that was not recorded.', 'minutes'),
      button('Save them as a take', () => d.link.send({ do: 'recent' }).then((done) => { if (done) d.say('The last minutes are saved as a take.'); }), { id: 'recent', disabled: s.settings.takes.ring_minutes === 0 })),
  ]);
}

/** @type {[string, string][]} */
const DOES = [['mark', 'sets a mark'], ['pause', 'takes hands off and on'], ['take', 'starts and stops recording']];

/**
 * @param {Desk} d
 * @param {number} refused
 */
export function drawChords(d, refused) {
  const chords = d.state.settings.chords ?? [];
  const labels = d.state.buttons.map((b) => b.label);
  const own = (d.profile.buttons ?? []).length > 0;
  const does = DOES.filter(([v]) => v === 'pause' || d.state.takes);
  /** @param {import('./types.js').Chord[]} list */
  const give = (list) => d.set({ chords: list });
  build(at('chords-box'), [chords, labels, own, d.state.takes, refused], () => [
    h('p', {}, 'Buttons that you hold together for a second do something without leaving the game. Such a chord is not counted as play.'),
    !own && chords.length === 0 ? h('p', { class: 'quiet' }, 'Bind your buttons first.') : null,
    ...chords.map((c, i) => h('fieldset', { class: 'set' },
      h('legend', {}, (c.buttons ?? []).join(' + ')),
      h('div', { class: 'ticks' }, ...labels.map((l, j) => tick(`chord-${i}-${j}`, l, (c.buttons ?? []).includes(l), (on) => {
        const buttons = labels.filter((x) => (x === l ? on : (c.buttons ?? []).includes(x)));
        give(chords.map((x, k) => (k === i ? { ...x, buttons } : x)));
      }))),
      h('div', { class: 'row' },
        field(`chord-does-${i}`, 'held for a second', select(does, c.does, (v) => give(chords.map((x, k) => (k === i ? { ...x, does: v } : x))))),
        button('Remove', () => give(chords.filter((_, k) => k !== i)), { id: `chord-remove-${i}`, class: 'plain', 'aria-label': `Remove the chord ${(c.buttons ?? []).join(' and ')}` })))),
    own && labels.length >= 2 && h('div', { class: 'buttons' }, button('Add a chord', () => give([...chords, { buttons: labels.slice(-2), does: 'pause' }]), { id: 'chord-add' })),
  ]);
}
