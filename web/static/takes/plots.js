// Plots to look closer at: distributions as bars, rates as points with their
// intervals. The drawing is uPlot's; the numbers come as they are shown.

import { clock } from './api.js';
import { colours } from './whole.js';

/** @type {any} */
const uPlot = /** @type {any} */ (window).uPlot;
const FONT = '13px "Atkinson Hyperlegible Next", system-ui, sans-serif';

/**
 * @param {Record<string, string>} c
 * @param {object} more
 */
const axis = (c, more) => ({ stroke: c.ink, grid: { stroke: c.rule, width: 1 }, ticks: { stroke: c.rule, width: 1 }, font: FONT, ...more });

/** One plot in its place; a new one replaces it. */
export class Plot {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place;
    /** @type {any} */
    this.plot = null;
    this.again = () => {};
    this.everything = () => {};
    this.watch = new ResizeObserver(() => this.fit());
    this.watch.observe(place);
  }

  fit() {
    const w = this.place.clientWidth;
    if (this.plot && w > 20 && Math.abs(w - this.plot.width) > 1) this.plot.setSize({ width: w, height: this.plot.height });
  }

  close() {
    this.watch.disconnect();
    this.plot?.destroy();
    this.plot = null;
  }

  /**
   * @param {object} options
   * @param {any[]} data
   */
  put(options, data) {
    this.plot?.destroy();
    this.plot = new uPlot({ width: Math.max(this.place.clientWidth, 120), legend: { show: false },
      cursor: { drag: { x: true, y: false }, points: { show: false } }, ...options }, data, this.place);
  }

  /**
   * A distribution: counts[k] is how many were k long.
   * @param {number[]} counts
   * @param {string} unit
   */
  bars(counts, unit) {
    const c = colours(this.place);
    let first = counts.findIndex((n) => n > 0);
    let last = counts.length;
    if (first < 0) first = last = 0;
    // Where most of it is; what comes after pauses is found by looking further out.
    const most = Math.max(...counts, 1);
    let to = first;
    for (let k = first; k < last && k <= first + (unit === 'frames' ? 30 : 500); k++) if (counts[k] >= 0.02 * most) to = k;
    const x = counts.map((_, k) => k);
    const wide = unit === 'frames' ? 0.72 : 1;
    this.put({
      height: 190,
      scales: { x: { time: false, range: (/** @type {any} */ _u, /** @type {number} */ a, /** @type {number} */ b) => [a, Math.max(b, a + 2)] }, y: { range: (/** @type {any} */ _u, /** @type {any} */ _a, /** @type {number} */ b) => [0, Math.max(b ?? 1, 1)] } },
      axes: [axis(c, { label: unit, labelFont: FONT, incrs: [1, 2, 5, 10, 20, 50, 100, 200, 500] }), axis(c, { size: 56, incrs: [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 100000] })],
      series: [{}, { stroke: c.bead, fill: c.bead, width: 0, points: { show: false }, paths: uPlot.paths.bars({ size: [wide, 40], align: unit === 'frames' ? 0 : 1 }) }],
    }, [x, counts]);
    const from = Math.max(first - 1, 0);
    this.again = () => this.plot?.setScale('x', { min: from - 0.6, max: Math.max(to + 1, from + 8) + 0.6 });
    this.everything = () => this.plot?.setScale('x', { min: -0.6, max: last + 0.6 });
    this.again();
  }

  /**
   * Rates with their intervals.
   * @param {{x: number, rate: import('./api.js').Rate}[]} points ascending in x
   * @param {{time: boolean, label: string}} how
   */
  rates(points, how) {
    const c = colours(this.place);
    const xs = points.map((p) => p.x);
    const span = xs.length > 1 ? xs[xs.length - 1] - xs[0] : 1;
    this.put({
      height: 190,
      scales: { x: { time: how.time, range: (/** @type {any} */ _u, /** @type {number} */ a, /** @type {number} */ b) => (b > a ? [a - 0.03 * (b - a), b + 0.03 * (b - a)] : [a - span / 2 - 1, a + span / 2 + 1]) }, y: { range: [0, 100] } },
      axes: [axis(c, how.time ? {} : { label: how.label, labelFont: FONT, values: (/** @type {any} */ _u, /** @type {number[]} */ v) => v.map((t) => clock(t, 0)) }),
        axis(c, { size: 60, incrs: [25, 50], values: (/** @type {any} */ _u, /** @type {number[]} */ v) => v.map((p) => `${p} %`) })],
      series: [{}, { stroke: c.bead, width: 2, points: { show: true, size: 9, fill: c.bead, stroke: c.bead } }],
      hooks: { draw: [(/** @type {any} */ u) => whiskers(u, points, c)] },
    }, [xs, points.map((p) => 100 * p.rate.rate)]);
  }
}

/**
 * @param {any} u
 * @param {{x: number, rate: import('./api.js').Rate}[]} points
 * @param {Record<string, string>} c
 */
function whiskers(u, points, c) {
  const { ctx } = u;
  ctx.save();
  ctx.beginPath();
  ctx.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height);
  ctx.clip();
  ctx.strokeStyle = c.quiet;
  ctx.lineWidth = 2 * devicePixelRatio;
  for (const p of points) {
    const x = u.valToPos(p.x, 'x', true);
    const a = u.valToPos(100 * p.rate.low, 'y', true);
    const b = u.valToPos(100 * p.rate.high, 'y', true);
    ctx.beginPath();
    ctx.moveTo(x, a);
    ctx.lineTo(x, b);
    ctx.stroke();
  }
  ctx.restore();
}
