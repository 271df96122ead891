// The desk: connects, and draws each part of the page from the state.

import { at, build, button, h, put, whenFreed } from './dom.js';
import { Link } from './link.js';
import { stateWords } from './words.js';
import { drawBind } from './bind.js';
import { drawButtons, showDown } from './buttons.js';
import { drawControllers, showDevices } from './controllers.js';
import { drawGame } from './game.js';
import { drawGuide } from './guide.js';
import { drawNow } from './now.js';
import { drawOthers } from './others.js';
import { drawStrip } from './strip.js';
import { drawTakes, drawChords } from './takes.js';
import { drawTargets } from './targets.js';

/** @typedef {import('./types.js').State} State */
/** @typedef {import('./types.js').Profile} Profile */

/**
 * What every part of the page gets.
 * @typedef {{
 *   link: Link,
 *   state: State,
 *   profile: Profile,
 *   patch: (patch: unknown) => Promise<boolean>,
 *   set: (patch: unknown) => Promise<boolean>,
 *   say: (text: string) => void,
 *   redraw: () => void,
 * }} Desk
 * patch changes the profile in force, set everything else
 */

/** @type {Desk | null} one for as long as the page is open */
let desk = null;
let toldRevision = -1;
let lostAt = 0;

const link = new Link({
  state: receive,
  link: (up, why) => {
    if (up) {
      document.body.dataset.link = 'up';
      lostAt = 0;
      return;
    }
    if (!lostAt) lostAt = performance.now();
    document.body.dataset.link = 'lost';
    put(at('state'), `No connection: nothing can be changed now. Trying again${why ? `: ${why}` : ''}.`);
  },
  failed: (why) => {
    const box = at('failed');
    box.replaceChildren();
    if (!why) return;
    box.append(h('div', { class: 'note bad' }, h('p', {}, why), button('Close', () => box.replaceChildren(), { class: 'plain' })));
    // What was refused must not stay in a field as if it were in force.
    refused++;
    draw();
  },
});
let refused = 0;

/** @param {string} text */
function say(text) {
  const box = at('said');
  box.replaceChildren(h('div', { class: 'note' }, h('p', {}, text), button('Close', () => box.replaceChildren(), { class: 'plain' })));
}

/** @param {State} s */
function receive(s) {
  const profile = s.settings.profiles.find((p) => p.name === s.settings.profile) ?? s.settings.profiles[0];
  if (desk) Object.assign(desk, { state: s, profile }); // what was built before sees it too
  else {
    /** @type {Desk} */
    const d = {
      link, state: s, profile, say, redraw: draw,
      patch: (patch) => link.send({ do: 'profile', profile: d.profile.name, patch }),
      set: (patch) => link.send({ do: 'set', patch }),
    };
    desk = d;
  }
  if (toldRevision >= 0 && s.revision !== toldRevision) {
    if (s.changed.desk === '') say('Changed outside of the desks: in the settings file, or by a controller that was plugged in.');
    else if (s.changed.desk !== link.me) say(`Changed on another desk: ${s.changed.what}. The later change counts; Undo takes it back.`);
    else at('said').replaceChildren();
  }
  toldRevision = s.revision;
  draw();
  document.body.dataset.revision = String(s.revision);
}

function draw() {
  if (!desk) return;
  const d = desk;
  const s = d.state;
  put(at('state'), stateWords(s));
  document.body.dataset.paused = String(s.paused);
  drawBar(d);
  drawWrong(s);
  drawGuide(d);
  drawNow(d, refused);
  drawControllers(d);
  drawButtons(d, refused);
  drawGame(d, refused);
  drawTargets(d, refused);
  drawStrip(d, refused);
  drawTakes(d, refused);
  drawChords(d, refused);
  drawOthers(d);
  drawBind(d);
  showDevices(d);
  showDown(d);
}

/** What is wanted in the middle of a stream. @param {Desk} d */
function drawBar(d) {
  const s = d.state;
  build(at('bar'), [s.paused, s.take, s.takes, s.undo, s.redo], () => [
    button(s.paused ? 'Hands on' : 'Hands off', () => d.link.send({ do: 'pause', on: !s.paused }),
      { id: 'pause', class: 'strong', title: s.paused ? 'Show and record again' : 'Show and record nothing until you choose Hands on' }),
    s.takes && button(s.take ? 'Stop recording' : 'Record', () => d.link.send({ do: 'take', on: !s.take }), { id: 'take' }),
    s.takes && button('Mark', () => d.link.send({ do: 'mark', note: '' }), { id: 'mark', disabled: !s.take, title: 'Set a mark in the take' }),
    h('span', { class: 'spring' }),
    button('Undo', () => d.link.send({ do: 'undo' }), { id: 'undo', disabled: !s.undo }),
    button('Redo', () => d.link.send({ do: 'redo' }), { id: 'redo', disabled: !s.redo }),
  ]);
}

/** @param {State} s */
function drawWrong(s) {
  const all = s.troubles.map((t) => t.text);
  if (s.wrong) all.push(s.wrong);
  at('wrong').hidden = all.length === 0;
  build(at('wrong-list'), all, () => all.map((t) => h('li', {}, t)));
}

whenFreed(draw);

at('guide-away').addEventListener('click', () => {
  localStorage.setItem('holdgap-guide', 'away');
  draw();
  at('main').focus();
});
at('guide-back').addEventListener('click', () => {
  localStorage.removeItem('holdgap-guide');
  draw();
  at('guide').scrollIntoView();
});
