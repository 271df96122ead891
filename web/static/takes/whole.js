// The whole take in one picture: the weave of presses, what hit and what did not,
// marks as pins, and where the eye is.

/** @typedef {import('./api.js').Summary} Summary */

const COLOURS = ['--ink', '--quiet', '--thread', '--bead', '--warn', '--rule', '--cloth'];

/** @param {Element} e @returns {Record<string, string>} */
export function colours(e) {
  const s = getComputedStyle(e);
  return Object.fromEntries(COLOURS.map((c) => [c.slice(2), s.getPropertyValue(c).trim()]));
}

/**
 * A canvas at the screen's own pixels.
 * @param {HTMLCanvasElement} canvas
 * @param {number} height CSS px
 */
export function prepare(canvas, height) {
  const dpr = window.devicePixelRatio || 1;
  const w = Math.max(canvas.clientWidth, 10);
  canvas.width = Math.round(w * dpr);
  canvas.height = Math.round(height * dpr);
  canvas.style.height = `${height}px`;
  const ctx = /** @type {CanvasRenderingContext2D} */ (canvas.getContext('2d'));
  ctx.setTransform(dpr, 0, 0, dpr, 0, 0);
  ctx.clearRect(0, 0, w, height);
  return { ctx, w };
}

/**
 * @param {HTMLCanvasElement} canvas
 * @param {Summary} s
 * @param {number} at seconds that the eye is at
 * @param {number} span seconds that the strip shows
 */
export function drawWhole(canvas, s, at, span) {
  const h = 96;
  const { ctx, w } = prepare(canvas, h);
  const c = colours(canvas);
  const x = (/** @type {number} */ t) => (t / Math.max(s.seconds, 0.001)) * (w - 8) + 4;
  const mid = 52;
  weave(ctx, s, x, mid, c);
  ctx.strokeStyle = c.thread;
  ctx.lineWidth = 2;
  line(ctx, 4, mid, w - 4, mid);
  for (const m of s.marks) {
    ctx.fillStyle = c.warn;
    ctx.strokeStyle = c.warn;
    line(ctx, x(m.at), 8, x(m.at), mid);
    ctx.beginPath();
    ctx.arc(x(m.at), 8, 4, 0, 7);
    ctx.fill();
  }
  const a = x(at);
  ctx.strokeStyle = c.ink;
  ctx.lineWidth = 2;
  const half = Math.max((span / Math.max(s.seconds, 0.001)) * w * 0.5, 4);
  ctx.strokeRect(a - half, 16, 2 * half, h - 22);
  line(ctx, a, 12, a, h - 2);
}

/**
 * Each part of the course: thin warps as dense as the presses, a bead above the
 * line as tall as the part that hit, a ring below for the rest.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Summary} s
 * @param {(t: number) => number} x
 * @param {number} mid
 * @param {Record<string, string>} c
 */
function weave(ctx, s, x, mid, c) {
  const most = Math.max(1, ...s.course.map((p) => p.presses));
  const tries = s.course.some((p) => p.tries > 0);
  const of = (/** @type {import('./api.js').Slot} */ p) => (tries ? p.tries : p.multis);
  const won = (/** @type {import('./api.js').Slot} */ p) => (tries ? p.hits : p.covered);
  const top = Math.max(1, ...s.course.map(of));
  s.course.forEach((p, i) => {
    const a = x(s.course_from + i * s.course_width);
    const b = x(s.course_from + (i + 1) * s.course_width);
    const n = Math.ceil((p.presses / most) * Math.max((b - a) / 3, 1));
    ctx.strokeStyle = c.rule;
    ctx.lineWidth = 1;
    for (let k = 0; k < n; k++) {
      const q = Math.round(a + ((k + 0.5) * (b - a)) / n) + 0.5;
      line(ctx, q, 18, q, 90);
    }
    const wide = Math.max(Math.min(b - a - 1, 8), 1.5);
    const middle = (a + b) / 2;
    if (won(p) > 0) pill(ctx, middle, mid - 3, wide, (won(p) / top) * 28 + 2, -1, c.bead, true);
    if (of(p) > won(p)) pill(ctx, middle, mid + 3, wide, ((of(p) - won(p)) / top) * 28 + 2, 1, c.warn, false);
  });
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {number} x
 * @param {number} y
 * @param {number} w
 * @param {number} h
 * @param {number} dir
 * @param {string} colour
 * @param {boolean} full
 */
function pill(ctx, x, y, w, h, dir, colour, full) {
  ctx.beginPath();
  ctx.roundRect(x - w / 2, dir < 0 ? y - h : y, w, h, w / 2);
  ctx.fillStyle = ctx.strokeStyle = colour;
  if (full) {
    ctx.fill();
  } else {
    ctx.lineWidth = Math.min(1.5, w / 2);
    ctx.stroke();
  }
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {number} a
 * @param {number} b
 * @param {number} c
 * @param {number} d
 */
function line(ctx, a, b, c, d) {
  ctx.beginPath();
  ctx.moveTo(a, b);
  ctx.lineTo(c, d);
  ctx.stroke();
}

/**
 * A take's course as a small weave, for the shelf.
 * @param {HTMLCanvasElement} canvas
 * @param {import('./api.js').Slot[]} course
 */
export function drawCourse(canvas, course) {
  const h = 44;
  const { ctx, w } = prepare(canvas, h);
  const c = colours(canvas);
  const mid = h / 2;
  ctx.strokeStyle = c.thread;
  ctx.lineWidth = 2;
  line(ctx, 2, mid, w - 2, mid);
  const tries = course.some((p) => p.tries > 0);
  const most = Math.max(1, ...course.map((p) => (tries ? p.tries : p.multis)));
  course.forEach((p, i) => {
    const of = tries ? p.tries : p.multis;
    const won = tries ? p.hits : p.covered;
    const x = 2 + ((i + 0.5) * (w - 4)) / course.length;
    const wide = Math.max(Math.min((w - 4) / course.length - 2, 7), 2);
    if (won > 0) pill(ctx, x, mid - 2, wide, (won / most) * (mid - 4) + 1, -1, c.bead, true);
    if (of > won) pill(ctx, x, mid + 2, wide, ((of - won) / most) * (mid - 4) + 1, 1, c.warn, false);
  });
}
