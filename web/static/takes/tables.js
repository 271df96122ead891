// Tables: rates with a drawn interval, lengths, patterns.

import { WORDS, el, percent } from './api.js';

/** @typedef {import('./api.js').Summary} Summary */
/** @typedef {import('./api.js').Rate} Rate */

/** @param {string[]} heads @param {string} caption */
function table(heads, caption) {
  const t = /** @type {HTMLTableElement} */ (el('table'));
  t.append(el('caption', caption));
  const r = t.createTHead().insertRow();
  for (const h of heads) {
    const th = /** @type {HTMLTableCellElement} */ (el('th', h));
    th.scope = 'col';
    r.append(th);
  }
  t.append(el('tbody'));
  return t;
}

/** @param {HTMLTableElement} t @param {(string | Element)[]} cells */
function row(t, cells) {
  const r = t.tBodies[0].insertRow();
  cells.forEach((c, i) => {
    const cell = i === 0 ? r.appendChild(el('th')) : r.insertCell();
    if (i === 0) /** @type {HTMLTableCellElement} */ (cell).scope = 'row';
    cell.append(c);
  });
}

/** A rate as a bead on a thread, with the interval as the stretch it may lie on. @param {Rate} r */
function bead(r) {
  const b = el('span', '', 'interval');
  b.setAttribute('aria-hidden', 'true');
  if (r.of > 0) {
    const span = el('span', '', 'interval-span');
    span.style.left = `${100 * r.low}%`;
    span.style.width = `${100 * (r.high - r.low)}%`;
    const at = el('span', '', 'interval-bead');
    at.style.left = `${100 * r.rate}%`;
    b.append(span, at);
  }
  return b;
}

/**
 * @param {Rate[]} rates
 * @param {string} caption
 */
function rateTable(rates, caption) {
  const t = table(['outcome', 'times', 'rate', '95 % interval', '0 to 100 %'], caption);
  for (const r of rates) {
    row(t, [WORDS[r.kind] ?? r.kind, String(r.count), percent(r.rate), `${percent(r.low)} … ${percent(r.high)}`, bead(r)]);
  }
  const wrap = el('div', '', 'wide');
  wrap.append(t);
  return wrap;
}

/** @param {Summary} s */
export function rateTables(s) {
  const out = document.createDocumentFragment();
  if (s.outcomes[0].of > 0) {
    const target = s.judging.target ? `“${s.judging.target}”, ` : '';
    const nothing = s.nothing > 0 ? `; ${s.nothing} more without a press` : '';
    out.append(rateTable(s.outcomes, `${s.outcomes[0].of} attempts at ${target}a window of ${s.judging.window} frames${nothing}; best run ${s.best_run}`));
  }
  if (s.verdicts.length > 0 && s.verdicts[0].of > 0) {
    out.append(rateTable(s.verdicts, `${s.verdicts[0].of} multi-presses against a window of ${s.judging.window} frames`));
  }
  if (!out.hasChildNodes()) out.append(el('p', 'Nothing was judged: choose a target or a window below.', 'quiet'));
  return out;
}

/** @param {import('./api.js').ButtonSum} b */
export function lengthsTable(b) {
  const t = table(['length', 'how many', 'median, frames', 'median, ms', 'mean ± spread, ms'], `${b.label}: ${b.presses} presses, ${b.unseen} unseen, ${b.merged} merged, ${b.bounce} may be switch bounce`);
  for (const [name, d] of /** @type {[string, import('./api.js').Dist][]} */ ([['hold', b.hold], ['gap', b.gap], ['gap inside multi-presses', b.quick_gap], ['spacing', b.spacing]])) {
    row(t, [name, String(d.n), d.median_frames < 0 ? '–' : String(d.median_frames), d.median_ms ? d.median_ms.toFixed(1) : '–', d.n ? `${d.mean_ms.toFixed(1)} ± ${d.sd_ms.toFixed(1)}` : '–']);
  }
  return t;
}

/** @param {Summary} s */
export function patternTable(s) {
  if (s.multis.length === 0) return el('p', 'No button was pressed twice in quick succession.', 'quiet');
  const t = table(['button', 'presses', 'spacings', 'verdict', 'covers', 'times'], '');
  t.caption?.remove();
  for (const m of s.multis.slice(0, 40)) {
    row(t, [m.button, `×${m.presses}`, m.spacings.join(' '), WORDS[m.verdict] ?? 'not judged', m.covered ? `${m.covered} frames` : '–', String(m.count)]);
  }
  return t;
}

/** Fills a select. @param {HTMLSelectElement} s @param {[string, string][]} options value and text @param {string} [chosen] */
export function fill(s, options, chosen) {
  const keep = chosen ?? s.value;
  s.replaceChildren(...options.map(([v, t]) => new Option(t, v)));
  if (options.some(([v]) => v === keep)) s.value = keep;
}
