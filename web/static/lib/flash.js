// The flash governor: whatever lights up on a page asks here first. It keeps
// the page under the limits of WCAG 2.2, success criterion 2.3.1 (three flashes
// or below threshold), over all causes together.
//
// https://www.w3.org/TR/WCAG22/#three-flashes-or-below-threshold

/** Flashes allowed in any second by the criterion; no setting goes above it. */
export const MOST = 3;
/** Flashes in any second unless set otherwise. */
export const USUAL = 2;
/** Area of a quarter of any 10° of the field of view, px². */
export const AREA = 21824;
/** Ratio of red from which a colour counts as saturated red. */
const RED = 0.8;

/** How a thing that asks may show itself. @typedef {'fill' | 'outline' | 'none'} Leave */

/** @type {Float64Array} */
const LINEAR = new Float64Array(256);
for (let i = 0; i < 256; i++) {
  const c = i / 255;
  LINEAR[i] = c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
}

/**
 * Relative luminance (WCAG 2.2) of "#rrggbb", 0 to 1.
 * @param {string} colour
 */
export function luminance(colour) {
  const n = parseInt(colour.slice(1, 7), 16);
  return 0.2126 * LINEAR[n >> 16] + 0.7152 * LINEAR[(n >> 8) & 255] + 0.0722 * LINEAR[n & 255];
}

/**
 * Whether a colour is saturated red: R/(R+G+B) ≥ 0.8 on linear values.
 * @param {string} colour "#rrggbb"
 */
export function saturatedRed(colour) {
  const n = parseInt(colour.slice(1, 7), 16);
  const r = LINEAR[n >> 16];
  const sum = r + LINEAR[(n >> 8) & 255] + LINEAR[n & 255];
  return sum > 0 && r / sum >= RED;
}

export class Governor {
  /**
   * @param {{perSecond?: number, style?: string}} [settings] style: fill, outline or off
   */
  constructor(settings = {}) {
    this.perSecond = Math.max(0, Math.min(settings.perSecond ?? USUAL, MOST));
    this.style = settings.style ?? 'fill';
    /** Times of the flashes let through, ms, ascending. @type {number[]} */
    this.times = [];
    /** Answers given, so that a thing is asked about once. @type {Map<string, Leave>} */
    this.given = new Map();
  }

  /**
   * May this light up? The answer for a key stays the same.
   * @param {string} key what asks
   * @param {number} at when it lights up, ms
   * @param {number} area lit at most, px²
   * @param {string} colour "#rrggbb"
   * @returns {Leave}
   */
  ask(key, at, area, colour) {
    const before = this.given.get(key);
    if (before !== undefined) return before;
    const leave = this.judge(at, area, colour);
    if (this.given.size > 256) {
      const oldest = this.given.keys().next().value;
      if (oldest !== undefined) this.given.delete(oldest);
    }
    this.given.set(key, leave);
    return leave;
  }

  /**
   * @param {number} at
   * @param {number} area
   * @param {string} colour
   * @returns {Leave}
   */
  judge(at, area, colour) {
    if (this.style === 'off') return 'none';
    // A flash a little after another in the books but before it in time counts too.
    let near = 0;
    for (const t of this.times) if (Math.abs(at - t) < 1000) near++;
    if (near >= this.perSecond) return 'none';
    this.times.push(at);
    if (this.times.length > 64) this.times.shift();
    // The scene behind is not known: any fill may be a general flash. An outline is
    // below the area threshold whatever its colour.
    if (this.style === 'outline' || area > AREA || saturatedRed(colour)) return 'outline';
    return 'fill';
  }
}

/** Whether the system asks for reduced motion. */
export function reducedMotion() {
  return typeof matchMedia === 'function' && matchMedia('(prefers-reduced-motion: reduce)').matches;
}
