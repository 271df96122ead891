// What the page asks of the program, and the words of its answers.

/**
 * @typedef {{kind: string, count: number, of: number, rate: number, low: number, high: number}} Rate
 * @typedef {{presses: number, unseen: number, multis: number, covered: number, tries: number, hits: number}} Slot
 * @typedef {{n: number, frames: number[], over_frames: number, ms: number[], over_ms: number,
 *   median_frames: number, mean_ms: number, sd_ms: number, median_ms: number}} Dist
 * @typedef {{b: number, label: string, role: string, presses: number, unseen: number, merged: number, bounce: number,
 *   hold: Dist, gap: Dist, spacing: Dist, quick_gap: Dist}} ButtonSum
 * @typedef {{b: number, button: string, presses: number, spacings: number[], verdict: string, covered: number, count: number}} Pattern
 * @typedef {{settings: number, rate: string, read: string, phase: number | null, window: number, early: string,
 *   hold: number, target: string, button: string, starter: string, opening: number}} Judging
 * @typedef {{at: number, frame: number, text: string}} Mark
 * @typedef {{name: string, size: number, offset: number, rate: string}} VideoTie
 * @typedef {{name: string, start: string, seconds: number, edges: number, first: number, last: number, position: number,
 *   second: number, judging: Judging, settings: {at: number, profile: string, targets: string[]}[], buttons: ButtonSum[],
 *   multis: Pattern[], verdicts: Rate[], outcomes: Rate[], nothing: number, best_run: number, course: Slot[],
 *   course_from: number, course_width: number, trend: {at: number, rate: Rate}[], marks: Mark[], videos: VideoTie[],
 *   devices: string[], demo: boolean, notes: string[]}} Summary
 * @typedef {{frame: number, at: number, what: string, kind: string, b: number, words: string, sure: number,
 *   start?: number, spacings?: number[], hold?: number}} Moment
 * @typedef {{name: string, start: string, seconds: number, edges: number, bytes: number, closed: boolean, live: boolean,
 *   trouble?: string}} Listed
 * @typedef {{profile: string, target: string, window: number, rate: string, presses: number, hit: Rate, covered: Rate,
 *   course: Slot[], demo: boolean}} Brief
 */

/**
 * @param {string} url
 * @param {RequestInit} [init]
 * @returns {Promise<any>}
 */
async function ask(url, init) {
  const r = await fetch(url, init);
  const v = await r.json().catch(() => null);
  if (!r.ok) throw new Error(v?.error ?? `the program answered ${r.status}`);
  return v;
}

/** @param {string} name @param {string} what @param {Record<string, string>} [query] */
export function takeURL(name, what, query = {}) {
  const q = new URLSearchParams(query).toString();
  return `/takes/${encodeURIComponent(name)}/${what}${q ? `?${q}` : ''}`;
}

/** @param {string} name @param {string} what @param {Record<string, string>} [query] @param {AbortSignal} [signal] */
export const get = (name, what, query, signal) => ask(takeURL(name, what, query), { signal });

/** @param {string} url @param {object} body */
export const send = (url, body) =>
  ask(url, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) });

/** @returns {Promise<{folder: string, takes: Listed[], more: number}>} */
export const list = () => ask('/takes/list');
/** @returns {Promise<{able: boolean, on: boolean, ring: boolean, name: string}>} */
export const recording = () => ask('/takes/recording');

/** Seconds as m:ss.s or h:mm:ss.s. @param {number} s */
export function clock(s, digits = 1) {
  const sign = s < 0 ? '−' : '';
  const scale = 10 ** digits;
  const t = Math.round(Math.abs(s) * scale);
  const h = Math.floor(t / (3600 * scale));
  const m = Math.floor(t / (60 * scale)) % 60;
  const sec = ((t % (60 * scale)) / scale).toFixed(digits).padStart(digits + (digits ? 3 : 2), '0');
  return h > 0 ? `${sign}${h}:${String(m).padStart(2, '0')}:${sec}` : `${sign}${m}:${sec}`;
}

/** @param {number} s length in seconds, in words */
export function long(s) {
  if (s < 60) return `${s.toFixed(0)} s`;
  if (s < 3600) return `${Math.floor(s / 60)} min ${Math.round(s % 60)} s`;
  return `${Math.floor(s / 3600)} h ${Math.round((s % 3600) / 60)} min`;
}

/** @param {number} p */
export const percent = (p) => `${(100 * p).toFixed(p > 0 && p < 0.1 ? 1 : 0)} %`;

/** A rate with its interval, in words. @param {Rate} r */
export const rateWords = (r) =>
  r.of === 0 ? 'none' : `${percent(r.rate)} (${percent(r.low)} … ${percent(r.high)}), ${r.count} of ${r.of}`;

/** @param {string} iso */
export function date(iso) {
  const d = new Date(iso);
  if (Number.isNaN(d.getTime()) || d.getFullYear() < 1980) return 'no date';
  return d.toLocaleString(undefined, { year: 'numeric', month: 'short', day: 'numeric', hour: '2-digit', minute: '2-digit' });
}

/** Words for outcomes and verdicts. @type {Record<string, string>} */
export const WORDS = {
  hit: 'hit', early: 'early', late: 'late', straddled: 'straddled', unheld: 'let go too soon', nothing: 'nothing pressed',
  covered: 'covered', holed: 'with a hole', none: 'did not help', mashed: 'mashed',
};

/** @param {string} tag @param {string} [text] @param {string} [cls] */
export function el(tag, text = '', cls = '') {
  const e = document.createElement(tag);
  if (text) e.textContent = text;
  if (cls) e.className = cls;
  return e;
}
