// What a page knows: entries by id in the order of their ids, as the updates
// give them. apply() is the only way in. History is bounded.
//
// The state also keeps the rests: stretches in which nothing happened for longer
// than `rest` frames. A strip leaves them out, so that what was just played
// stays in sight until something new comes.

/**
 * @typedef {import('./types.js').Update} Update
 * @typedef {import('./types.js').Press} Press
 * @typedef {import('./types.js').Multi} Multi
 * @typedef {import('./types.js').Direction} Direction
 * @typedef {import('./types.js').Outcome} Outcome
 */

/** Entries kept of each kind. */
export const KEPT = 400;
/** Entries a list may grow to before it is cut back to KEPT. */
const SLACK = 100;
/** Frames before an entry at which a rest ends: its own cell, and one of bare thread. */
const LEAD = 2;

/** @typedef {{from: number, to: number, sum: number}} Rest frames left out from `from` to `to`; sum: of all up to here */
/** @typedef {{key: string, multi: number, outcome: number, f: number}} Flash asked for at frame f */

/**
 * @typedef {{
 *   rest: number,
 *   version: number,
 *   setup: import('./types.js').Setup | null,
 *   status: import('./types.js').Status | null,
 *   streak: import('./types.js').Streak | null,
 *   presses: Press[], multis: Multi[], directions: Direction[], outcomes: Outcome[],
 *   open: number,
 *   seen: boolean[],
 *   firstPress: number[],
 *   lastPress: number[],
 *   turned: boolean,
 *   rests: Rest[],
 *   busyTo: number,
 *   flashes: Flash[],
 * }} State
 */

/**
 * @param {number} rest frames of nothing after which a strip rests; Infinity for never
 * @returns {State}
 */
export function createState(rest) {
  return {
    rest, version: 0, setup: null, status: null, streak: null,
    presses: [], multis: [], directions: [], outcomes: [],
    open: 0, seen: [], firstPress: [], lastPress: [], turned: false,
    rests: [], busyTo: NaN, flashes: [],
  };
}

/**
 * Applies one update, in place.
 * @param {State} s
 * @param {Update} u
 */
export function apply(s, u) {
  s.version++;
  if (u.whole) {
    s.presses.length = s.multis.length = s.directions.length = s.outcomes.length = 0;
    s.rests.length = s.flashes.length = 0;
    s.busyTo = NaN;
    s.turned = false;
    s.seen.length = s.firstPress.length = s.lastPress.length = 0;
    s.setup = null;
    s.status = null;
    s.streak = null;
  }
  if (u.setup) s.setup = u.setup;
  if (u.status) s.status = u.status;
  if (u.streak) s.streak = u.streak;
  if (u.presses) for (const p of u.presses) put(s.presses, p);
  if (u.multis) {
    for (const m of u.multis) {
      put(s.multis, m);
      if (m.flash) flash(s, `m${m.id}.${m.presses.length}`, m.id, -1, u.f);
    }
  }
  if (u.directions) for (const d of u.directions) put(s.directions, d);
  if (u.outcomes) {
    for (const o of u.outcomes) {
      put(s.outcomes, o);
      if (o.flash) flash(s, `o${o.id}`, -1, o.id, u.f);
    }
  }
  if (u.held) {
    for (const h of u.held) {
      const p = find(s.presses, h[0]);
      if (p && p.state === 'down') {
        p.hold = h[1];
        reach(s, p.first + p.hold);
      }
    }
  }
  if (u.whole) {
    wholeRests(s, u.f);
  } else {
    newRests(s, u);
  }
  countOpen(s, u);
}

/**
 * @param {State} s
 * @param {string} key
 * @param {number} multi
 * @param {number} outcome
 * @param {number} f
 */
function flash(s, key, multi, outcome, f) {
  if (s.flashes.length >= 16) s.flashes.shift();
  s.flashes.push({ key, multi, outcome, f });
}

/**
 * Puts an entry in its place: replaces the one of its id, or goes in order.
 * @template {{id: number}} T
 * @param {T[]} list in ascending order of id
 * @param {T} e
 */
function put(list, e) {
  let i = list.length;
  while (i > 0 && list[i - 1].id > e.id) i--;
  if (i > 0 && list[i - 1].id === e.id) {
    list[i - 1] = e;
    return;
  }
  if (i === list.length) list.push(e);
  else list.splice(i, 0, e);
  if (list.length > KEPT + SLACK) list.splice(0, list.length - KEPT);
}

/**
 * The entry of an id, or undefined.
 * @template {{id: number}} T
 * @param {T[]} list in ascending order of id
 * @param {number} id
 * @returns {T | undefined}
 */
export function find(list, id) {
  let lo = 0;
  let hi = list.length - 1;
  while (lo <= hi) {
    const mid = (lo + hi) >> 1;
    const d = list[mid].id - id;
    if (d === 0) return list[mid];
    if (d < 0) lo = mid + 1;
    else hi = mid - 1;
  }
  return undefined;
}

/**
 * @param {State} s
 * @param {Update} u
 */
function countOpen(s, u) {
  if (u.presses && u.presses.length > 0) {
    let n = 0;
    for (const p of s.presses) {
      if (p.state === 'down' || p.state === 'pending') n++;
    }
    s.open = n;
    for (const p of u.presses) {
      if (!s.seen[p.b]) s.firstPress[p.b] = p.first;
      s.seen[p.b] = true;
      s.lastPress[p.b] = Math.max(s.lastPress[p.b] ?? -Infinity, p.first);
    }
  } else if (u.whole) {
    s.open = 0;
  }
  if (u.directions) for (const d of u.directions) if (d.num !== 5) s.turned = true;
}

/**
 * The frames in which a press, a direction or a window keeps the strip going.
 * A pending press came in the frame before the one that reads it.
 * @param {State} s
 * @param {number} start
 * @param {number} end
 */
function busy(s, start, end) {
  if (Number.isNaN(s.busyTo)) {
    s.busyTo = end;
    return;
  }
  const last = s.rests[s.rests.length - 1];
  const from = s.busyTo + s.rest;
  if (start > from) {
    const sum = (last ? last.sum : 0) + start - from;
    if (s.rests.length > KEPT + SLACK) s.rests.splice(0, s.rests.length - KEPT);
    s.rests.push({ from, to: start, sum });
  } else if (last && start < last.to && start >= last.from) {
    last.sum -= last.to - start; // it began a little before what ended the rest
    last.to = start;
  }
  reach(s, end);
}

/**
 * @param {State} s
 * @param {number} end
 */
function reach(s, end) {
  if (!(s.busyTo >= end)) s.busyTo = end;
}

/** @param {Press} p */
const pressEnd = (p) => p.first + Math.max(p.hold, 1);

/** @param {Multi} m */
function multiEnd(m) {
  let end = m.first;
  if (m.spans) for (const sp of m.spans) end = Math.max(end, sp[1] + 1);
  return end;
}

/**
 * @param {State} s
 * @param {Update} u
 */
function newRests(s, u) {
  if (u.presses) for (const p of u.presses) busy(s, p.first - LEAD, pressEnd(p));
  if (u.directions) for (const d of u.directions) busy(s, d.first - LEAD, d.first + 1);
  if (u.outcomes) for (const o of u.outcomes) busy(s, o.open - 6, o.close + 1);
  if (u.multis) for (const m of u.multis) reach(s, multiEnd(m));
}

/**
 * Rests of a whole update, whose kinds of entries come one after the other.
 * @param {State} s
 * @param {number} f
 */
function wholeRests(s, f) {
  /** @type {[number, number][]} */
  const spans = [];
  for (const p of s.presses) spans.push([p.first - LEAD, pressEnd(p)]);
  for (const d of s.directions) spans.push([d.first - LEAD, d.first + 1]);
  for (const o of s.outcomes) spans.push([o.open - 6, o.close + 1]);
  for (const m of s.multis) spans.push([m.first, multiEnd(m)]);
  spans.sort((a, b) => a[0] - b[0]);
  for (const [a, b] of spans) busy(s, a, b);
  if (spans.length === 0) s.busyTo = f;
}

/**
 * The length woven up to frame k: k less the rests before it. Continuous.
 * @param {State} s
 * @param {number} k
 */
export function woven(s, k) {
  const r = s.rests;
  for (let i = r.length - 1; i >= 0; i--) {
    const c = r[i];
    if (k >= c.to) return k - c.sum;
    if (k > c.from) return c.from - c.sum + (c.to - c.from);
  }
  return r.length > 0 ? k - r[0].sum + (r[0].to - r[0].from) : k;
}

/**
 * The frame up to which the strip has come at frame f: f, or where it rests.
 * @param {State} s
 * @param {number} f
 */
export function headFrame(s, f) {
  if (s.open > 0 || Number.isNaN(s.busyTo)) return f;
  return Math.min(f, s.busyTo + s.rest);
}
