// The first steps: four of them, each with what it is for and what to do.

import { at, build, button, h } from './dom.js';
import { startBinding } from './bind.js';
import { readHere, here } from './controllers.js';
import { addTarget } from './targets.js';
import { addressOf, copyAddress } from './strip.js';
import { lastOf, realOnes } from './words.js';

/** @param {import('./main.js').Desk} d */
export function drawGuide(d) {
  const s = d.state;
  const real = realOnes(s.devices);
  const pressed = real.find((x) => x.presses > 0);
  const bound = (d.profile.buttons ?? []).length > 0;
  const aimed = d.profile.target !== '';
  const shown = s.viewers > s.desks; // each desk shows one strip of its own
  const done = [pressed !== undefined, bound, aimed, shown];
  const away = localStorage.getItem('holdgap-guide') === 'away' || done.every(Boolean);
  at('guide').hidden = away;
  at('guide-back').hidden = !away;
  if (away) return;
  const last = pressed ? lastOf(pressed) : '';
  build(at('steps'), [done, real.map((x) => x.name), last, s.pads, here.on, here.sees, s.paused, d.profile.name, addressOf(d)], () => [
    step(done[0], 'Let it see your controller',
      h('p', {}, pressed ? `It hears ${pressed.name}: you pressed ${last}.`
        : real.length > 0 ? `It sees ${real.map((x) => x.name).join(', ')}. Press any button on it.`
          : 'Plug it in and press any button on it.'),
      !pressed && s.pads && !here.on && h('p', {}, here.sees ? `This browser sees ${here.sees}. ` : 'Not Linux, or a controller on another machine? ',
        button('Read it through this page', () => readHere(d, true), { id: 'guide-here' }))),
    step(done[1], 'Say which buttons you use',
      h('p', {}, bound ? 'Give each the name that you call it, below at Buttons.' : 'Press each of them once. You give it the name that you call it; directions come by themselves.'),
      !bound && button('Bind by pressing', () => startBinding(d, ''), { id: 'guide-bind' })),
    step(done[2], 'Say what you practise',
      h('p', {}, aimed ? `The strip judges by “${d.profile.target}”.` : 'The numbers of two moves, as your game’s frame data lists them, give the window in which the second one links.'),
      !aimed && button('New target', () => addTarget(d), { id: 'guide-target' })),
    step(done[3], 'Put the strip into your streaming program',
      h('p', {}, 'Copy its address, and add it there as a browser source, about 1280 wide and 240 high. It is transparent: put it over the game.'),
      h('p', { class: 'copyline' }, h('code', { id: 'guide-address' }, addressOf(d)),
        button('Copy', () => copyAddress(d, at('guide-address')), { id: 'guide-copy' }))),
  ]);
}

/**
 * @param {boolean} done
 * @param {string} title
 * @param {...import('./dom.js').Kid} kids
 */
function step(done, title, ...kids) {
  return h('li', { class: done ? 'done' : 'open' }, h('h3', {}, title, h('span', { class: 'tag' }, done ? ' done' : '')), ...kids);
}
