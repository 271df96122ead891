// Capture in the browser: gamepads, and the keyboard keys that were bound by
// hand, go to the program over a WebSocket. Used by /pad and by /strip?play=1.
//
// It needs no click. Browsers show a gamepad to a page once a button on it has
// been pressed while the page is in sight. What is held at that moment, or when
// the connection comes, does not count until it has been let go.

import { PadEdges, edgeTime } from './edges.js';
import { PadLink } from './link.js';
import { Poller } from './poll.js';
import { troubleWords } from './words.js';

const MAX_PADS = 15; // devices 0 … 14 of a pad's messages
const KEYBOARD = 15; // the keyboard's number
const REPORT = 250; // ms between reports of figures to status

/** @typedef {import('./link.js').Bound} Bound */

/**
 * @typedef {{d: number, id: string, mapping: string, down: string[]}} PadStatus
 *
 * @typedef {{
 *   link: 'connecting' | 'open' | 'lost' | 'refused' | 'stopped',
 *   why: string,
 *   hidden: boolean,
 *   blurred: boolean,
 *   pads: PadStatus[],
 *   keys: string[],
 *   boundKeys: string[],
 *   boundCodes: number,
 *   learn: boolean,
 *   supported: boolean,
 *   pollMean: number, pollWorst: number,
 *   rtt: number, err: number,
 *   frameMS: number,
 *   missed: {times: number, ms: number},
 * }} CaptureStatus
 * pads with the keys each has down; keys: the keyboard's; boundKeys: names that
 * count; boundCodes: how many are a keyboard's; pollMean, pollWorst: interval of
 * looking, ms, 0 until measured; rtt, err: ms, 0 until known; missed: how often and
 * how long the page was hidden.
 *
 * @typedef {{
 *   status?: (trouble: string, s: CaptureStatus) => void,
 *   keyboard?: boolean,
 *   url?: string,
 * }} CaptureOptions
 * status is called whenever something changes, and for the figures a few times a
 * second: with what keeps the page from reading, in a few words (empty when nothing
 * does), and with everything there is to know; keyboard: false leaves the keyboard alone; url is the WebSocket's.
 *
 * @typedef {{stop: () => void}} Running
 */

/**
 * Starts to capture, until stop is called.
 * @param {CaptureOptions} [options]
 * @returns {Running}
 */
export function startCapture(options = {}) {
  const c = new Capture(options);
  return { stop: () => c.stop() };
}

/**
 * @typedef {{d: number, id: string, mapping: string, edges: PadEdges, stamp: number,
 *   sent: Set<string>, unread: boolean}} PadState
 * sent: keys that the program was told are down; unread: the pad was not looked at
 * for a while, so the next look is a first one
 */

class Capture {
  /** @param {CaptureOptions} options */
  constructor(options) {
    this.options = options;
    /** @type {Map<number, PadState>} by Gamepad.index */
    this.pads = new Map();
    /** @type {Set<string>} keyboard keys that were sent as down */
    this.keys = new Set();
    /** @type {Set<string>} */
    this.bound = new Set();
    /** @type {Map<string, string>} KeyboardEvent.code → key name */
    this.codes = new Map();
    this.hiddenAt = document.hidden ? performance.now() : -1;
    this.reported = 0;
    /** @type {CaptureStatus} */
    this.status = {
      link: 'connecting', why: '', hidden: document.hidden, blurred: !document.hasFocus(),
      pads: [], keys: [], boundKeys: [], boundCodes: 0, learn: false,
      supported: typeof navigator.getGamepads === 'function',
      pollMean: 0, pollWorst: 0, rtt: 0, err: 0, frameMS: 1000 / 60,
      missed: { times: 0, ms: 0 },
    };

    this.ending = new AbortController();
    const on = { signal: this.ending.signal, capture: true };
    if (options.keyboard !== false) {
      window.addEventListener('keydown', (e) => this.keydown(e), on);
      window.addEventListener('keyup', (e) => this.keyup(e), on);
    }
    window.addEventListener('blur', (e) => { if (e.target === window) this.blur(); }, on);
    window.addEventListener('focus', (e) => { if (e.target === window) this.focus(); }, on);
    document.addEventListener('visibilitychange', () => this.visibility(), on);
    window.addEventListener('pagehide', () => this.release('leave'), on);
    window.addEventListener('gamepaddisconnected', (e) => this.gone(e.gamepad.index), on);

    this.poller = new Poller((now) => this.look(now));
    this.link = new PadLink({
      url: options.url,
      bound: (b) => this.bind(b),
      ping: (p) => {
        this.status.rtt = p.rtt_ms ?? 0;
        this.status.err = p.err_ms ?? 0;
      },
      up: () => this.up(),
      down: (why, refused) => this.down(why, refused),
    });
    if (!document.hidden) this.poller.start();
    this.tell();
  }

  stop() {
    this.release('leave');
    this.ending.abort();
    this.poller.stop();
    this.status.link = 'stopped';
    this.link.close();
    this.tell();
  }

  // The connection.

  up() {
    this.status.link = 'open';
    this.status.why = '';
    for (const p of this.pads.values()) {
      p.edges.settle();
      this.attach(p);
    }
    this.attachKeyboard();
    this.tell();
  }

  /**
   * @param {string} why
   * @param {boolean} refused
   */
  down(why, refused) {
    for (const p of this.pads.values()) p.sent.clear(); // the program has let go of them
    this.keys.clear();
    if (this.status.link !== 'stopped') {
      // A refusal stays in sight until a connection holds.
      if (refused || this.status.link !== 'refused') this.status.why = why;
      if (refused) this.status.link = 'refused';
      else if (this.status.link === 'open') this.status.link = 'lost';
    }
    this.status.rtt = this.status.err = 0;
    this.tell();
  }

  /** @param {Bound} b */
  bind(b) {
    const hadKeyboard = this.codes.size > 0;
    this.bound = new Set(b.keys);
    this.codes = new Map(Object.entries(b.codes ?? {}));
    this.status.boundKeys = b.keys;
    this.status.boundCodes = this.codes.size;
    this.status.learn = b.learn === true;
    if (b.frame_ms) this.status.frameMS = b.frame_ms;
    // What is not bound any more the program has let go.
    for (const p of this.pads.values()) for (const k of [...p.sent]) if (!this.wanted(k)) p.sent.delete(k);
    for (const k of [...this.keys]) if (!this.bound.has(k)) this.keys.delete(k);
    if (this.codes.size === 0 && hadKeyboard) this.link.send({ t: 'detach', d: KEYBOARD, c: performance.now() });
    else if (this.codes.size > 0 && !hadKeyboard) this.attachKeyboard();
    this.tell();
  }

  /** @param {PadState} p */
  attach(p) {
    this.link.send({ t: 'attach', d: p.d, name: nameOf(p.id), mapping: p.mapping, poll_ms: this.pollMS() });
  }

  attachKeyboard() {
    if (this.codes.size > 0 && this.options.keyboard !== false) {
      this.link.send({ t: 'attach', d: KEYBOARD, name: 'Keyboard in the browser' });
    }
  }

  // The browser hears from a pad about every 4 ms, however often one looks.
  pollMS() {
    return Math.round(Math.max(4, this.status.pollMean) * 10) / 10;
  }

  // Gamepads.

  /** @param {number} now ms */
  look(now) {
    if (this.status.supported) {
      /** @type {(Gamepad | null)[]} */
      let list;
      try {
        list = navigator.getGamepads();
      } catch (e) {
        this.status.supported = false; // forbidden by the page that holds this one
        list = [];
      }
      for (const g of list) if (g && g.connected !== false) this.lookAt(g, now);
      for (const index of this.pads.keys()) if (!list[index]) this.gone(index);
    }
    if (now - this.reported >= REPORT) this.figures(now);
  }

  /**
   * @param {Gamepad} g
   * @param {number} now ms
   */
  lookAt(g, now) {
    let p = this.pads.get(g.index);
    if (p && p.id !== g.id) {
      this.gone(g.index);
      p = undefined;
    }
    if (!p) {
      const d = this.freeNumber();
      if (d < 0) return;
      p = { d, id: g.id, mapping: g.mapping === 'standard' ? 'standard' : '', edges: new PadEdges(g), stamp: g.timestamp, sent: new Set(), unread: false };
      this.pads.set(g.index, p);
      this.attach(p);
      this.tell();
      return;
    }
    if (p.unread) {
      p.edges = new PadEdges(g);
      p.stamp = g.timestamp;
      p.unread = false;
      this.attach(p); // tells the program that the pad is read again
      this.tell();
      return;
    }
    const c = edgeTime(g.timestamp, p.stamp, now);
    p.stamp = g.timestamp;
    let changed = false;
    const { d, sent } = p;
    p.edges.step(g, ({ key, down }) => {
      changed = true;
      if (down ? this.link.open && this.wanted(key) : sent.has(key)) {
        this.link.send({ t: 'key', d, k: key, down, c });
        if (down) sent.add(key);
        else sent.delete(key);
      }
    });
    if (changed) this.tell();
  }

  /** @param {string} key */
  wanted(key) {
    return this.status.learn || this.bound.has(key);
  }

  freeNumber() {
    const used = new Set([...this.pads.values()].map((p) => p.d));
    for (let d = 0; d < MAX_PADS; d++) if (!used.has(d)) return d;
    return -1;
  }

  /** @param {number} index */
  gone(index) {
    const p = this.pads.get(index);
    if (!p) return;
    this.pads.delete(index);
    this.link.send({ t: 'detach', d: p.d, c: performance.now() });
    this.tell();
  }

  // The keyboard. A key that is not bound is not looked at any further.

  /** @param {KeyboardEvent} e */
  keydown(e) {
    const key = this.codes.get(e.code);
    if (key === undefined || e.isComposing || writes(e.target)) return;
    if (scrolls(e)) e.preventDefault();
    if (e.repeat || this.keys.has(key) || !this.link.open) return;
    this.keys.add(key);
    this.link.send({ t: 'key', d: KEYBOARD, k: key, down: true, c: e.timeStamp });
    this.tell();
  }

  /** @param {KeyboardEvent} e */
  keyup(e) {
    const key = this.codes.get(e.code);
    if (key !== undefined) this.keyUp(key, e.timeStamp);
    // While this key is held some systems report no other key's release.
    if (e.code === 'MetaLeft' || e.code === 'MetaRight') for (const k of [...this.keys]) this.keyUp(k, e.timeStamp);
  }

  /**
   * @param {string} key
   * @param {number} c ms
   */
  keyUp(key, c) {
    if (!this.keys.delete(key)) return;
    this.link.send({ t: 'key', d: KEYBOARD, k: key, down: false, c });
    this.tell();
  }

  // Letting go.

  /** @param {'blur' | 'hide' | 'leave'} why */
  release(why) {
    this.link.send({ t: 'release', c: performance.now(), why });
    this.keys.clear();
    if (why === 'blur') return; // gamepads are read without the focus
    for (const p of this.pads.values()) {
      p.sent.clear();
      p.unread = true;
    }
  }

  blur() {
    this.release('blur');
    this.status.blurred = true;
    this.tell();
  }

  focus() {
    this.status.blurred = false;
    this.tell();
  }

  visibility() {
    this.status.hidden = document.hidden;
    if (document.hidden) {
      this.hiddenAt = performance.now();
      this.release('hide');
      this.poller.stop();
    } else {
      if (this.hiddenAt >= 0) {
        this.status.missed.times++;
        this.status.missed.ms += performance.now() - this.hiddenAt;
      }
      this.hiddenAt = -1;
      this.poller.start();
    }
    this.tell();
  }

  // Telling.

  /** @param {number} now ms */
  figures(now) {
    const { mean, worst } = this.poller.interval;
    const was = this.pollMS();
    this.status.pollMean = mean;
    this.status.pollWorst = worst;
    if (Math.abs(this.pollMS() - was) >= 2) for (const p of this.pads.values()) this.attach(p);
    this.reported = now;
    this.tell();
  }

  tell() {
    if (!this.options.status) return;
    this.status.pads = [...this.pads.values()].map((p) => ({ d: p.d, id: p.id, mapping: p.mapping, down: p.edges.down() }));
    this.status.keys = [...this.keys];
    this.options.status(troubleWords(this.status), this.status);
  }
}

/**
 * What a device may be called: printable, 1 to 200 characters.
 * @param {string} id
 */
function nameOf(id) {
  const clean = [...id.replace(/[^\p{L}\p{M}\p{N}\p{P}\p{S} ]/gu, ' ').trim()].slice(0, 200).join('');
  return clean || 'Gamepad';
}

/** @param {EventTarget | null} t whether one writes into it */
const writes = (t) => t instanceof HTMLElement
  && (t.isContentEditable || t instanceof HTMLTextAreaElement || t instanceof HTMLSelectElement || t instanceof HTMLInputElement);

/**
 * Whether a key would scroll the page or open its search. Keys for moving about
 * the page, and on what has the focus, are left alone.
 * @param {KeyboardEvent} e
 */
function scrolls(e) {
  if (e.ctrlKey || e.altKey || e.metaKey) return false;
  if (e.target instanceof Element && e.target.closest('a, button, summary, [tabindex]')) return false;
  return /^(Arrow|Space$|Slash$|Quote$|Page|Home$|End$|Numpad)/.test(e.code);
}
