// Boxes: what layout hands to drawing. Boxes are kept and used again, so that a
// steady strip makes no garbage.

/**
 * One thing to draw. x, y, w, h in CSS pixels; for points x, y is the middle.
 * @typedef {{x: number, y: number, w: number, h: number, r: number, style: number,
 *   mark: number, level: number, text: string, key: string}} Box
 */

export class Boxes {
  constructor() {
    /** @type {Box[]} */
    this.items = [];
    this.n = 0;
  }

  clear() {
    this.n = 0;
  }

  /** The next box, with every field reset. @returns {Box} */
  add() {
    if (this.n === this.items.length) {
      this.items.push({ x: 0, y: 0, w: 0, h: 0, r: 0, style: 0, mark: 0, level: 1, text: '', key: '' });
    }
    const b = this.items[this.n++];
    b.x = b.y = b.w = b.h = b.r = b.style = b.mark = 0;
    b.level = 1;
    b.text = b.key = '';
    return b;
  }
}

/** Styles of threads. */
export const THREAD = { woven: 0, warp: 1, held: 2, slack: 3, kinked: 4 };
/** Styles of beads. mark: bit 1 open end, bit 2 waist (merged). */
export const BEAD = { sure: 0, unsure: 1 };
/** Styles of knots. */
export const KNOT = { pending: 0, unseen: 1, ring: 2 };
/** Styles of brackets on the hem. */
export const BRACKET = { sure: 0, unsure: 1, hole: 2, mash: 3, open: 4, hit: 5, missed: 6 };
/** Styles of texts: which colours of the theme they wear. */
export const TEXT = { plate: 0, bead: 1, hollow: 2, window: 3, hole: 4, direction: 5, note: 6 };

export class Scene {
  constructor() {
    this.bands = new Boxes(); // the plate of a fine strip
    this.threads = new Boxes();
    this.tails = new Boxes(); // what follows the bead of a long hold
    this.beads = new Boxes();
    this.knots = new Boxes();
    this.pegs = new Boxes();
    this.arrows = new Boxes();
    this.ticks = new Boxes();
    this.brackets = new Boxes();
    this.cuts = new Boxes();
    this.flashes = new Boxes();
    this.counts = new Boxes(); // on beads
    this.texts = new Boxes();
    this.labels = new Boxes(); // outside the clip
    this.notes = new Boxes(); // outside the clip
    this.dots = new Boxes(); // outcomes of the streak, outside the clip
    /** Where the cloth shows: x, y, w, h. */
    this.clip = { x: 0, y: 0, w: 0, h: 0 };
    this.shuttle = { x: 0, y: 0, w: 0, h: 0, on: false };
    this.digit = 0; // font size of counts, px
    this.small = 0; // font size of labels and words, px
    this.perFrame = 0; // px
    this.head = 0; // frame up to which the strip is drawn
    this.vertical = false;
    this.fine = false; // so small that corners and single casings would not be seen
    /** @type {number[]} buttons with a thread, in order */
    this.rows = [];
    this.left = 0; // buttons left out for want of room
  }

  clear() {
    this.bands.clear();
    this.threads.clear();
    this.tails.clear();
    this.beads.clear();
    this.knots.clear();
    this.pegs.clear();
    this.arrows.clear();
    this.ticks.clear();
    this.brackets.clear();
    this.cuts.clear();
    this.flashes.clear();
    this.counts.clear();
    this.texts.clear();
    this.labels.clear();
    this.notes.clear();
    this.dots.clear();
    this.shuttle.on = false;
    this.rows.length = 0;
    this.left = 0;
  }
}

/** Small whole numbers as text, made once. @type {string[]} */
const NUMBERS = [];
for (let i = 0; i < 1000; i++) NUMBERS.push(String(i));
/** @type {string[]} */
const ABOUT = NUMBERS.map((s) => `~${s}`);

/** @param {number} n */
export const count = (n) => (n >= 0 && n < 1000 ? NUMBERS[n] : String(n));
/** @param {number} n */
export const about = (n) => (n >= 0 && n < 1000 ? ABOUT[n] : `~${n}`);
