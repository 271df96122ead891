// From what the Gamepad API shows to keys that go down and up. Pure: no clock,
// no browser object is touched.
//
// Names and thresholds are those of the program's own capture: buttons go by
// position, an analogue trigger counts from a quarter of its travel and a stick
// from half, and each lets go a little below, so that a value trembling at the
// threshold does not chatter.

/**
 * What is read of a Gamepad (https://www.w3.org/TR/gamepad/).
 * @typedef {{
 *   mapping: string,
 *   buttons: ReadonlyArray<{pressed: boolean, value: number}>,
 *   axes: ReadonlyArray<number>,
 * }} Snapshot
 *
 * @typedef {{key: string, down: boolean}} Edge
 */

/** Names of the standard layout's buttons by index: 0 is the lowest of the right cluster. */
export const STANDARD_BUTTONS = [
  'south', 'east', 'west', 'north', 'tl', 'tr', 'tl2', 'tr2',
  'select', 'start', 'thumbl', 'thumbr', 'up', 'down', 'left', 'right', 'mode',
];

/** Names of the standard layout's axes, negative side first. */
export const STANDARD_AXES = [
  ['stick_left', 'stick_right'], ['stick_up', 'stick_down'],
  ['stick2_left', 'stick2_right'], ['stick2_up', 'stick2_down'],
];

/** Buttons and axes beyond these are not read. */
export const MAX_BUTTONS = 128;
export const MAX_AXES = 32;

/** Shares of the travel from which a key counts as down, and below which as up. */
export const BUTTON_ON = 0.25;
export const BUTTON_OFF = 0.15;
export const STICK_ON = 0.5;
export const STICK_OFF = 0.4;

/**
 * The name of a button.
 * @param {number} index
 * @param {boolean} standard whether the pad has the standard layout
 */
export function buttonName(index, standard) {
  return (standard && STANDARD_BUTTONS[index]) || `button${index}`;
}

/**
 * The name of one side of an axis.
 * @param {number} index
 * @param {boolean} plus
 * @param {boolean} standard
 */
export function axisName(index, plus, standard) {
  const sides = standard ? STANDARD_AXES[index] : undefined;
  return sides ? sides[plus ? 1 : 0] : `axis${index}_${plus ? 'plus' : 'minus'}`;
}

// A hat that comes as an axis gives −1 for up and goes round clockwise by 2/7
// for each eighth; at rest it lies outside −1 … 1 (seen in browsers without a
// layout for the pad; no standard says so).
const HAT = [
  ['up'], ['up', 'right'], ['right'], ['right', 'down'],
  ['down'], ['down', 'left'], ['left'], ['left', 'up'],
];
const HAT_KEYS = ['up', 'down', 'left', 'right'];
const OUTSIDE = 1.05;

/**
 * The directions of a hat that comes as an axis; none at rest.
 * @param {number} value
 * @returns {string[]}
 */
export function hatKeys(value) {
  if (!(value >= -OUTSIDE && value <= OUTSIDE)) return [];
  return HAT[Math.min(7, Math.max(0, Math.round(((value + 1) * 7) / 2)))];
}

/** One gamepad's keys. */
export class PadEdges {
  /**
   * What the first look finds down does not count until it has been let go: it
   * went down before anyone looked.
   * @param {Snapshot} first
   */
  constructor(first) {
    this.standard = first.mapping === 'standard';
    /** @type {Map<string, boolean>} state of each key */
    this.state = new Map();
    /** @type {Set<string>} down, but from before */
    this.before = new Set();
    /** @type {Set<number>} axes that are hats */
    this.hats = new Set();
    this.read(first, () => {});
    this.settle();
  }

  /** Takes what is down now as down from before, so that it does not count. */
  settle() {
    for (const [key, down] of this.state) if (down) this.before.add(key);
  }

  /** Names of the keys that are down and count. */
  down() {
    return [...this.state].filter(([key, down]) => down && !this.before.has(key)).map(([key]) => key);
  }

  /**
   * Compares a look with the one before.
   * @param {Snapshot} now
   * @param {(edge: Edge) => void} emit called for each edge, releases first
   */
  step(now, emit) {
    /** @type {Edge[]} */
    const presses = [];
    this.read(now, (key, down) => {
      if (down) presses.push({ key, down });
      else if (!this.before.delete(key)) emit({ key, down });
    });
    presses.forEach(emit);
  }

  /**
   * @param {Snapshot} now
   * @param {(key: string, down: boolean) => void} changed
   */
  read(now, changed) {
    const buttons = Math.min(now.buttons.length, MAX_BUTTONS);
    for (let i = 0; i < buttons; i++) {
      const b = now.buttons[i];
      // Some browsers leave value at 0 for a button that only knows pressed.
      const v = b.pressed && !(b.value > 0) ? 1 : b.value;
      this.set(buttonName(i, this.standard), v, BUTTON_ON, BUTTON_OFF, changed);
    }
    const axes = Math.min(now.axes.length, MAX_AXES);
    for (let i = 0; i < axes; i++) {
      const v = now.axes[i];
      if (!this.standard && Math.abs(v) > OUTSIDE && !this.hats.has(i)) {
        this.hats.add(i);
        for (const plus of [false, true]) this.set(axisName(i, plus, false), 0, STICK_ON, STICK_OFF, changed);
      }
      if (this.hats.has(i)) {
        const keys = hatKeys(v);
        for (const k of HAT_KEYS) this.set(k, keys.includes(k) ? 1 : 0, BUTTON_ON, BUTTON_OFF, changed);
        continue;
      }
      this.set(axisName(i, false, this.standard), -v, STICK_ON, STICK_OFF, changed);
      this.set(axisName(i, true, this.standard), v, STICK_ON, STICK_OFF, changed);
    }
  }

  /**
   * @param {string} key
   * @param {number} v
   * @param {number} on
   * @param {number} off
   * @param {(key: string, down: boolean) => void} changed
   */
  set(key, v, on, off, changed) {
    const was = this.state.get(key) === true;
    const is = was ? v >= off : v >= on; // never for NaN
    if (is === was) return;
    this.state.set(key, is);
    changed(key, is);
  }
}

/**
 * When a look's edges happened. A pad's timestamp is when the browser last heard
 * from it, in performance.now()'s milliseconds: better than the time of the look
 * where it is new and near.
 * @param {number} stamp Gamepad.timestamp
 * @param {number} lastStamp the one of the look before
 * @param {number} now performance.now() at the look, ms
 */
export function edgeTime(stamp, lastStamp, now) {
  const near = 100; // ms: beyond, the stamp is on another clock or stands still
  return stamp > lastStamp && stamp <= now && now - stamp < near ? stamp : now;
}
