// The pad's side of its WebSocket: answers pings, tells which keys are bound,
// connects again by itself.

import { socketURL } from '../lib/wire.js';

/**
 * @typedef {{t: 'ping', s: number, rtt_ms?: number, err_ms?: number}} Ping
 * @typedef {{t: 'bound', keys: string[], codes?: Record<string, string>, learn?: boolean, frame_ms?: number}} Bound
 * @typedef {{t: string, [field: string]: string | number | boolean}} Message
 *
 * @typedef {{
 *   url?: string,
 *   bound: (b: Bound) => void,
 *   ping: (p: Ping) => void,
 *   up: () => void,
 *   down: (why: string, refused: boolean) => void,
 * }} Handlers  up: keys may be sent from now on; down: none may
 */

const FIRST_WAIT = 250; // ms before the first new attempt
const LONGEST_WAIT = 5000; // ms
const FIRST_PINGS = 6; // answered before keys are sent, so that the clocks are related well by then
const CLOGGED = 64 * 1024; // bytes waiting to be sent: the network stands still
// Codes with which the program ends a connection it will not have, with the reason
// in words (RFC 6455, 7.4.1).
const REFUSALS = [1002, 1003, 1007, 1008, 1009];

export class PadLink {
  /** @param {Handlers} handlers */
  constructor(handlers) {
    this.handlers = handlers;
    this.url = handlers.url ?? socketURL('/wire/pad');
    /** @type {WebSocket | null} */
    this.socket = null;
    this.open = false;
    this.isBound = false;
    this.answered = 0;
    this.wait = FIRST_WAIT;
    this.timer = 0;
    this.ended = false;
    this.connect();
  }

  /** Ends the connection for good. */
  close() {
    this.ended = true;
    clearTimeout(this.timer);
    this.drop('', false);
  }

  connect() {
    if (this.ended) return;
    clearTimeout(this.timer);
    const s = new WebSocket(this.url);
    this.socket = s;
    s.onmessage = (e) => this.read(e.data);
    s.onclose = (e) => this.drop(e.reason, REFUSALS.includes(e.code));
  }

  /**
   * @param {string} why
   * @param {boolean} refused
   */
  drop(why, refused) {
    const s = this.socket;
    this.socket = null;
    this.open = false;
    this.isBound = false;
    this.answered = 0;
    if (s) {
      s.onmessage = s.onclose = null;
      s.close();
    }
    this.handlers.down(why, refused);
    if (this.ended) return;
    if (refused) this.wait = LONGEST_WAIT;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.connect(), this.wait);
    this.wait = Math.min(this.wait * 1.6, LONGEST_WAIT);
  }

  /** @param {unknown} data */
  read(data) {
    const now = performance.now();
    /** @type {Ping | Bound} */
    let m;
    try {
      m = JSON.parse(String(data));
    } catch (e) {
      this.drop('the program sent something that is not JSON', false);
      return;
    }
    if (m.t === 'ping') {
      this.raw({ t: 'pong', s: m.s, c: now }); // before anything else
      this.handlers.ping(m);
      this.answered++;
      if (this.isBound && !this.open && this.socket && this.answered >= FIRST_PINGS) {
        this.open = true;
        this.wait = FIRST_WAIT;
        this.handlers.up();
      }
    } else if (m.t === 'bound') {
      this.isBound = true;
      this.handlers.bound(m);
    }
  }

  /**
   * Sends a message if keys may be sent.
   * @param {Message} m
   */
  send(m) {
    if (!this.open || !this.socket) return;
    this.raw(m);
    if (this.socket.bufferedAmount > CLOGGED) this.drop('the network stands still', false);
  }

  /** @param {Message} m */
  raw(m) {
    if (this.socket && this.socket.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify(m));
  }
}
