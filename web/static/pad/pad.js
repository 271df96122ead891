// The page to play from this browser: shows what capture.js does, in words.

import { startCapture } from './capture.js';
import { costWords, downWords, missedWords, readWords, roundTripWords, stateWords, stripAddress } from './words.js';

/** @typedef {import('./capture.js').CaptureStatus} CaptureStatus */

/**
 * @param {string} id
 * @returns {HTMLElement}
 */
const at = (id) => {
  const e = document.getElementById(id);
  if (!e) throw new Error(`the page has no element ${id}`);
  return e;
};

const MOST_THREADS = 40; // on the page; more keys than a player has fingers for

/** @type {Map<string, {li: HTMLElement, note: HTMLElement}>} */
const threads = new Map();
/** @type {CaptureStatus | null} */
let status = null;
let drawing = false;

/** @type {import('./capture.js').Running | null} */
let running = start();

function start() {
  return startCapture({
    status: (_, s) => {
      status = s;
      // A key that goes down and up between two frames of the display still gets its thread.
      for (const k of [...s.pads.flatMap((p) => p.down), ...s.keys]) thread(k);
      if (!drawing) {
        drawing = true;
        requestAnimationFrame(draw);
      }
    },
  });
}

/** @param {string} key */
function thread(key) {
  if (threads.has(key) || threads.size >= MOST_THREADS) return;
  const li = document.createElement('li');
  const line = document.createElement('span');
  line.className = 'thread';
  line.setAttribute('aria-hidden', 'true');
  const bead = document.createElement('span');
  bead.className = 'bead';
  line.append(bead);
  const name = document.createElement('span');
  name.className = 'key';
  name.textContent = downWords([key]);
  const note = document.createElement('span');
  note.className = 'note';
  li.append(line, name, note);
  at('harness').append(li);
  threads.set(key, { li, note });
  at('harness-empty').hidden = true;
}

function draw() {
  drawing = false;
  const s = status;
  if (!s) return;
  const state = stateWords(s);
  at('panel').dataset.state = state.kind;
  put('state', state.title);
  put('hint', state.hint);

  const down = [...new Set([...s.pads.flatMap((p) => p.down), ...s.keys])];
  put('down', down.length ? downWords(down) : 'nothing');
  at('down').classList.toggle('none', down.length === 0);
  for (const [key, t] of threads) {
    const isDown = down.includes(key);
    const bound = s.boundKeys.includes(key);
    t.li.classList.toggle('is-down', isDown);
    t.li.classList.toggle('unbound', !bound);
    const note = `${isDown ? 'down' : ''}${isDown && !bound ? ', ' : ''}${bound ? '' : 'not bound'}`;
    if (t.note.textContent !== note) t.note.textContent = note;
  }

  const poll = costWords(s);
  put('poll', poll.figure);
  put('poll-words', poll.words);
  const trip = roundTripWords(s);
  put('rtt', trip.figure);
  put('rtt-words', trip.words);
  put('missed', missedWords(s));
  put('read', readWords(s));
}

/**
 * Writes a text if it is new, so that a screen reader is not told the same twice.
 * @param {string} id
 * @param {string} text
 */
function put(id, text) {
  const e = at(id);
  if (e.textContent !== text) e.textContent = text;
}

at('stop').addEventListener('click', () => {
  if (running) {
    running.stop();
    running = null;
  } else {
    running = start();
  }
  put('stop', running ? 'Stop reading' : 'Read again');
});

const address = stripAddress(location.href);
put('address', address);
at('copy').addEventListener('click', async () => {
  try {
    await navigator.clipboard.writeText(address);
    put('copied', 'Copied.');
  } catch (e) {
    // Plain http on another machine's address has no clipboard.
    const range = document.createRange();
    range.selectNodeContents(at('address'));
    getSelection()?.removeAllRanges();
    getSelection()?.addRange(range);
    put('copied', 'Selected: copy it with the keyboard.');
  }
});
