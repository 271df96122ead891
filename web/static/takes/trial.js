// What a take is judged by, and trying something else.

import { clock } from './api.js';
import { fill } from './tables.js';

/** @typedef {import('./api.js').Summary} Summary */

export class Trial {
  /** @param {import('./pane.js').Pane} pane */
  constructor(pane) {
    this.pane = pane;
  }

  /** @param {Summary} s */
  show(s) {
    const f = /** @type {HTMLFormElement} */ (this.pane.q('.try'));
    const set = (/** @type {string} */ name, /** @type {string} */ v) => {
      /** @type {any} */ (f.elements.namedItem(name)).value = v;
    };
    const j = s.judging;
    const labels = s.buttons.map((b) => /** @type {[string, string]} */ ([b.label, b.label]));
    const also = (/** @type {string} */ v) => (labels.some(([l]) => l === v) || v === 'any' || v === 'none' ? [] : [/** @type {[string, string]} */ ([v, v])]);
    const sel = (/** @type {string} */ n) => /** @type {HTMLSelectElement} */ (f.elements.namedItem(n));
    fill(sel('settings'), s.settings.map((x, i) => [String(i + 1), i === 0 ? `${x.profile}, from the start` : `${x.profile}, from ${clock(x.at)}`]), String(j.settings));
    this.pane.q('.try-settings').hidden = s.settings.length < 2;
    const targets = s.settings[j.settings - 1]?.targets ?? [];
    fill(sel('target'), [['', 'as below'], ['none', 'none'], ...targets.map((t) => /** @type {[string, string]} */ ([t, t]))], this.pane.query.target ?? '');
    this.pane.q('.try-target').hidden = targets.length === 0;
    fill(sel('button'), [['any', 'any'], ...labels, ...also(j.button)], j.button);
    fill(sel('starter'), [['none', 'none'], ...labels, ...also(j.starter)], j.starter);
    set('rate', j.rate);
    set('read', j.read);
    set('phase', j.phase === null ? 'unknown' : String(j.phase));
    set('window', String(j.window));
    set('early', j.early);
    set('hold', String(j.hold));
    set('opening', j.opening ? String(j.opening) : '');
    this.pane.q('.try-trouble').textContent = '';
    this.pane.root.classList.toggle('tried', Object.keys(this.pane.query).length > 0);
  }

  /** @param {Event} e */
  async submit(e) {
    e.preventDefault();
    if (!this.pane.sum) return;
    const f = new FormData(/** @type {HTMLFormElement} */ (this.pane.q('.try')));
    const j = this.pane.sum.judging;
    const now = /** @type {Record<string, string>} */ ({
      settings: String(j.settings), rate: j.rate, read: j.read, phase: j.phase === null ? 'unknown' : String(j.phase), window: String(j.window),
      early: j.early, hold: String(j.hold), target: '', button: j.button, starter: j.starter, opening: j.opening ? String(j.opening) : '',
    });
    /** @type {Record<string, string>} */
    const q = { ...this.pane.query };
    for (const [k, v] of f) {
      const w = String(v).trim();
      if (w !== now[k] && w !== '') q[k] = w;
    }
    if (q.starter === 'none') delete q.opening;
    await this.judge(q);
  }

  /** @param {Record<string, string>} q */
  async judge(q) {
    const before = this.pane.query;
    this.pane.query = q;
    try {
      await this.pane.load();
    } catch (e) {
      this.pane.query = before;
      this.pane.q('.try-trouble').textContent = e instanceof Error ? e.message : String(e);
    }
  }
}
