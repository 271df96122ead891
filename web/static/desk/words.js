// Words of the desk for what the program names. Pure.

import { downWords } from '../pad/words.js';

/** @typedef {import('./types.js').State} State */
/** @typedef {import('./types.js').Device} Device */

/** @param {string} key */
export const keyWords = (key) => downWords([key]);

/** @param {number} n @param {string} one */
export const count = (n, one) => `${n} ${one}${n === 1 ? '' : 's'}`;

/** @type {Record<string, string>} */
const SOURCES = {
  evdev: 'plugged into this machine',
  page: 'read by a browser',
  demo: 'invented: plays until a controller is there',
  take: 'from a take',
};

/** @param {Device} d */
export function sourceWords(d) {
  return `${d.keyboard ? 'keyboard, ' : ''}${SOURCES[d.source] ?? d.source}`;
}

/**
 * How often a device tells about itself, and what that means in frames.
 * @param {Device} d
 * @param {number} frameMS
 */
export function reportWords(d, frameMS) {
  if (d.source === 'demo') return '';
  if (!d.report_ms) return 'How often it reports is measured while you press.';
  const ms = d.report_ms < 10 ? d.report_ms.toFixed(1) : String(Math.round(d.report_ms));
  return `Reports every ${ms} ms, ${(d.report_ms / frameMS).toFixed(2)} of a frame: edges are that unsure.`;
}

/**
 * What is down, by button labels; keys that are not bound by where they sit.
 * @param {Device} d
 */
export function downOf(d) {
  const seen = new Set(d.down.map((k) => (k.label ? k.label : `${keyWords(k.key)} (not bound)`)));
  return [...seen].join(' · ');
}

/** @param {Device} d */
export function lastOf(d) {
  if (!d.last) return '';
  return d.last.label ?? `${keyWords(d.last.key)} (not bound)`;
}

/** What the program does right now, in a few words. @param {State} s */
export function stateWords(s) {
  if (s.paused) return 'Hands off: nothing is shown or recorded.';
  const real = s.devices.filter((d) => d.source !== 'demo');
  const what = s.replay ? 'Playing a take'
    : real.length > 0 ? `Reading ${real.map((d) => d.name).join(', ')}`
      : s.demo ? 'No controller yet: the strip shows the demo' : 'No controller yet';
  return `${what}${s.take ? ' · recording' : ''}`;
}

/** @param {Device[]} devices */
export const realOnes = (devices) => devices.filter((d) => d.source !== 'demo' && d.source !== 'take');
