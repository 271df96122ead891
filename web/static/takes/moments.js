// The list of moments of a take, by what they were and how they came out.

import { WORDS, clock, el, get, percent } from './api.js';
import { fill } from './tables.js';

/** @typedef {import('./api.js').Summary} Summary */
/** @typedef {import('./api.js').Moment} Moment */

const PAGE = 60; // moments fetched at a time

export class Moments {
  /** @param {import('./pane.js').Pane} pane */
  constructor(pane) {
    this.pane = pane;
    this.asked = 0;
  }

  /** @param {Summary} s */
  choices(s) {
    fill(this.pane.select('.moments-button'), [['', 'any button'], ...s.buttons.map((b) => /** @type {[string, string]} */ ([b.label, b.label]))]);
    if (s.outcomes[0].of + s.nothing === 0 && this.pane.select('.moments-what').value === 'outcome') this.pane.select('.moments-what').value = 'multi';
    this.kinds();
  }

  kinds() {
    const what = this.pane.select('.moments-what').value;
    const names = { outcome: ['hit', 'early', 'late', 'straddled', 'unheld', 'nothing'], multi: ['covered', 'holed', 'none', 'mashed'] }[what] ?? [];
    /** @type {[string, string][]} */
    const list = [['', 'in any way'], ...names.map((n) => /** @type {[string, string]} */ ([n, WORDS[n]]))];
    if (what === 'outcome') list.push(['early,late,straddled,unheld', 'as a miss']);
    if (what === 'multi') list.push(['holed,none,mashed', 'as a miss']);
    fill(this.pane.select('.moments-kind'), list);
    this.pane.select('.moments-kind').disabled = names.length === 0;
    this.pane.select('.moments-button').disabled = what === 'mark';
  }

  /** Fills the list. @param {boolean} anew */
  async fill(anew) {
    const s = this.pane.sum;
    if (!s) return;
    const list = this.pane.q('.moments-list');
    const what = this.pane.select('.moments-what').value;
    const more = this.pane.q('.moments-more');
    if (anew) list.replaceChildren();
    if (what === 'mark') {
      list.replaceChildren(...s.marks.map((m) => this.moment({ frame: m.frame, at: m.at, words: m.text, what: 'mark', kind: '', b: -1, sure: 0 })));
      more.hidden = true;
    } else {
      const last = /** @type {HTMLElement | null} */ (list.lastElementChild);
      const at = last ? Number(last.dataset.frame) : s.first - 60;
      const asked = ++this.asked;
      const r = await get(this.pane.take, 'find', { ...this.pane.query, what, at: String(at), of: this.pane.select('.moments-button').value, kinds: this.pane.select('.moments-kind').value, limit: String(PAGE) });
      if (asked !== this.asked) return;
      list.append(...r.moments.map((/** @type {Moment} */ m) => this.moment(m)));
      more.hidden = r.moments.length < PAGE;
    }
    if (!list.hasChildNodes()) list.append(el('li', 'None.', 'quiet'));
  }

  /** @param {Moment} m */
  moment(m) {
    const li = el('li');
    li.dataset.frame = String(m.frame);
    const b = /** @type {HTMLButtonElement} */ (el('button', '', `moment ${m.kind}`));
    b.type = 'button';
    const button = this.pane.sum?.buttons.find((x) => x.b === m.b)?.label ?? '';
    const start = m.start === undefined ? '' : m.start < 0 ? `started ${-m.start} early` : `started on ${m.start}`;
    const hold = m.what === 'press' ? (m.kind === 'unseen' ? 'no frame saw it' : `held ${m.hold}`) : '';
    const sure = m.sure > 0 && m.sure < 0.995 ? `${percent(m.sure)} sure` : '';
    b.append(el('span', clock(m.at, 2), 'moment-at'), el('span', [m.words || hold, button, m.spacings?.length ? `spacing ${m.spacings.join(' ')}` : '', start, sure].filter(Boolean).join(' · ')));
    b.addEventListener('click', () => this.pane.go(m.frame));
    li.append(b);
    if (m.what === 'mark') {
      const off = /** @type {HTMLButtonElement} */ (el('button', 'Remove', 'remove'));
      off.type = 'button';
      off.setAttribute('aria-label', `Remove: ${m.words}`);
      off.addEventListener('click', () => this.pane.setMark(m.at, '').catch((e) => this.pane.on.say(e.message)));
      li.append(off);
    }
    return li;
  }
}
