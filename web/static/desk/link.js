// The desk's side of its connection: the state comes whole over a WebSocket,
// commands go over HTTP.

import { socketURL } from '../lib/wire.js';

/** @typedef {import('./types.js').State} State */
/** @typedef {import('./types.js').Command} Command */

const VERSION = 1;
const FIRST_WAIT = 250; // ms before a new attempt
const LONGEST_WAIT = 5000; // ms

export class Link {
  /** @param {{state: (s: State) => void, link: (up: boolean, why: string) => void, failed: (why: string) => void}} handlers */
  constructor(handlers) {
    this.handlers = handlers;
    /** Who this desk is, to tell its own changes from another's. */
    this.me = [...crypto.getRandomValues(new Uint8Array(9))].map((b) => b.toString(36).padStart(2, '0')).join('');
    this.revision = 0;
    this.wait = FIRST_WAIT;
    /** @type {Promise<unknown>} commands go one after another */
    this.last = Promise.resolve();
    this.connect();
  }

  connect() {
    const s = new WebSocket(socketURL('/wire/desk'));
    s.onmessage = (e) => {
      /** @type {State} */
      const state = JSON.parse(String(e.data));
      if (state.v !== VERSION) {
        this.handlers.link(false, 'the program is another version than this page: reload the page');
        return;
      }
      this.wait = FIRST_WAIT;
      this.revision = state.revision;
      this.handlers.link(true, '');
      this.handlers.state(state);
    };
    s.onclose = (e) => {
      this.handlers.link(false, e.reason);
      setTimeout(() => this.connect(), this.wait);
      this.wait = Math.min(this.wait * 1.6, LONGEST_WAIT);
    };
  }

  /**
   * Sends a command; tells what went wrong and resolves to whether it was done.
   * @param {Command} command
   * @returns {Promise<boolean>}
   */
  send(command) {
    const done = this.last.then(() => this.post(command));
    this.last = done;
    return done;
  }

  /** @param {Command} command */
  async post(command) {
    try {
      const r = await fetch('/desk/do', {
        method: 'POST',
        headers: { 'Content-Type': 'application/json' },
        body: JSON.stringify({ ...command, desk: this.me, based: this.revision }),
      });
      const answer = await r.json().catch(() => ({ error: `the program answered ${r.status}: reload the page` }));
      if (answer.revision) this.revision = answer.revision;
      this.handlers.failed(answer.error ?? '');
      return !answer.error;
    } catch (e) {
      this.handlers.failed('Not done: the program does not answer. Is it still running?');
      return false;
    }
  }

  /**
   * What a target comes to, worked out by the program.
   * @param {import('./types.js').Target} target
   * @returns {Promise<import('./types.js').Cover | null>}
   */
  async cover(target) {
    try {
      const r = await fetch('/desk/cover', {
        method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(target),
      });
      const c = await r.json();
      return r.ok ? c : { window: 0, short: 0, opening: 0, presses: 0, spacing: 0, suggested: false, starts: 0, runs: [], holes: [], best: 0, advice: '', error: c.error, field: '' };
    } catch (e) {
      return null;
    }
  }
}
