// The game: how often it looks at the buttons, and how.

import { at, build, button, field, h, number, select } from './dom.js';

/** @type {[string, string][]} */
const RATES = [
  ['60', '60: most games'],
  ['60000/1001', '60000/1001: 59.94, the NTSC field rate'],
  ['50', '50: the PAL field rate'],
  ['30', '30'],
  ['120', '120'],
];

/**
 * @param {import('./main.js').Desk} d
 * @param {number} refused
 */
export function drawGame(d, refused) {
  const p = d.profile;
  const rate = p.rate || '60';
  const T = d.state.frame_ms;
  build(at('game-box'), [p.name, rate, p.read, p.phase_ms, p.opposites, p.multi_press_spacing, p.bounce_ms, p.window, T, refused], () => {
    const known = RATES.some(([v]) => v === rate);
    const other = h('input', { type: 'text', value: rate, maxlength: 32, autocomplete: 'off', onchange: () => d.patch({ rate: other.value.trim() }) });
    return [
      h('div', { class: 'grid' },
        field('rate', 'Frames a second', select(known ? [...RATES, ['other', 'another…']] : [...RATES, ['other', rate]], known ? rate : 'other', (v) => {
          if (v === 'other') {
            const box = at('rate-box');
            box.hidden = false;
            other.focus();
          } else d.patch({ rate: v });
        }), `One frame is ${T.toFixed(3)} ms.`),
        h('div', { id: 'rate-box', hidden: known }, field('rate-other', 'Another rate', other, 'Exactly, as a number or a fraction: 59.637405 or 60000/1001.')),
        field('read', 'How the game reads a button', select([['sampled', 'sampled: is it down when the game looks?'], ['latched', 'latched: was it down since the last look?']], p.read, (v) => d.patch({ read: v })),
          'If you do not know, leave sampled: then a press shorter than a frame may go unseen, as in most games.'),
        field('opposites', 'Opposite directions together', select([['neutral', 'are neither'], ['last', 'the later one wins'], ['up', 'up wins over down; left and right are neither'], ['none', 'pass as they are']], p.opposites, (v) => d.patch({ opposites: v })),
          'What the game makes of left and right held together. Your controller may clean them before; events have rules about it.')),
      phase(d, T),
      h('details', { id: 'finer' }, h('summary', {}, 'Finer'),
        h('div', { class: 'grid' },
          field('quick', 'Presses belong together up to a spacing of', number(p.multi_press_spacing, { min: 0, max: 60 }, (v) => d.patch({ multi_press_spacing: v })), 'Farther apart they are no multi-press. 0 takes the usual value.', 'frames'),
          field('bounce', 'A gap counts as switch bounce below', number(p.bounce_ms, { min: -1, max: 50, step: 0.5 }, (v) => d.patch({ bounce_ms: v })), 'It is told apart, never dropped. 0 takes the usual value, −1 never.', 'ms'),
          field('window', 'Window while there is no target', number(p.window, { min: 0, max: 600 }, (v) => d.patch({ window: v })), '0 judges nothing.', 'frames'))),
    ];
  });
}

/**
 * @param {import('./main.js').Desk} d
 * @param {number} T length of a frame, ms
 */
function phase(d, T) {
  const p = d.profile;
  const fixed = p.phase_ms !== null && p.phase_ms !== undefined;
  return h('fieldset', {},
    h('legend', {}, 'Where the game’s frames begin'),
    h('p', { class: 'help' }, 'Nothing outside the game can see that. Left unknown, each count carries how sure it is, and unsure ones are drawn with stitches.'),
    h('div', { class: 'row' },
      button('Unknown', () => d.patch({ phase_ms: null }), { id: 'phase-unknown', 'aria-pressed': !fixed, class: 'choice' }),
      button('Fixed', () => d.patch({ phase_ms: fixed ? p.phase_ms : 0 }), { id: 'phase-fixed', 'aria-pressed': fixed, class: 'choice' }),
      fixed && field('phase', 'Phase', number(p.phase_ms ?? 0, { min: 0, max: Math.floor(T * 1000 - 1) / 1000, step: 'any' }, (v) => d.patch({ phase_ms: v })), undefined, 'ms')),
    fixed && h('p', { class: 'help warn' }, 'Two clocks that differ by a tenth of a hertz drift through a whole frame in ten seconds: a fixed phase holds only if the game’s rate is exactly the one above.'));
}
