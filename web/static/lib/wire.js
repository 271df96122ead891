// The viewer's side of the WebSocket: connects, reads updates in order, and
// starts afresh with a whole update whenever something was missed.

/** @typedef {import('./types.js').Update} Update */

/** Version of the messages this page reads. */
export const VERSION = 1;

const FIRST_WAIT = 250; // ms before the first new attempt
const LONGEST_WAIT = 5000; // ms
const HIDDEN_FOR = 5000; // ms out of sight before the connection is given up

/**
 * @typedef {{
 *   url: string,
 *   update: (u: Update) => void,
 *   link: (up: boolean, why: string) => void,
 *   hidden?: () => boolean,
 * }} Handlers
 */

export class Viewer {
  /** @param {Handlers} handlers */
  constructor(handlers) {
    this.handlers = handlers;
    /** @type {WebSocket | null} */
    this.socket = null;
    this.next = 0; // sequence number expected; 0 means a whole update must come first
    this.wait = FIRST_WAIT;
    this.timer = 0;
    this.closed = false;
    this.onVisible = () => this.visibility();
    document.addEventListener('visibilitychange', this.onVisible);
    this.connect();
  }

  /** Ends the connection for good. */
  close() {
    this.closed = true;
    clearTimeout(this.timer);
    document.removeEventListener('visibilitychange', this.onVisible);
    this.drop();
  }

  drop() {
    const s = this.socket;
    this.socket = null;
    this.next = 0;
    if (s) {
      s.onopen = s.onmessage = s.onclose = s.onerror = null;
      s.close();
    }
  }

  connect() {
    clearTimeout(this.timer);
    if (this.closed) return;
    this.drop();
    const s = new WebSocket(this.handlers.url);
    this.socket = s;
    s.onmessage = (e) => this.read(e.data);
    s.onclose = (e) => this.again(e.reason);
  }

  /** @param {string} why */
  again(why) {
    this.drop();
    if (this.closed || document.hidden) return;
    this.handlers.link(false, why);
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.connect(), this.wait);
    this.wait = Math.min(this.wait * 1.6, LONGEST_WAIT);
  }

  visibility() {
    clearTimeout(this.timer);
    if (document.hidden) {
      this.timer = setTimeout(() => {
        if (document.hidden) this.drop();
      }, HIDDEN_FOR);
    } else if (!this.socket) {
      this.wait = FIRST_WAIT;
      this.connect();
    }
  }

  /** @param {unknown} data */
  read(data) {
    /** @type {Update} */
    let u;
    try {
      u = JSON.parse(String(data));
    } catch (e) {
      this.again('a message that is not JSON');
      return;
    }
    if (u.v !== VERSION) {
      this.handlers.link(false, `the program speaks version ${u.v} and this page version ${VERSION}: reload the page`);
      this.closed = true;
      this.drop();
      reloadOnce(u.v);
      return;
    }
    if (!u.whole && (this.next === 0 || u.n !== this.next)) {
      this.wait = FIRST_WAIT;
      this.connect(); // something was missed: a new connection starts with a whole update
      return;
    }
    if (u.whole) {
      this.wait = FIRST_WAIT;
      this.handlers.link(true, '');
    }
    this.next = u.n + 1;
    this.handlers.update(u);
  }
}

/**
 * Reloads the page to get the modules of the program's version; once for each
 * version, so that a stale cache does not make it reload for ever.
 * @param {number} version
 */
function reloadOnce(version) {
  try {
    const key = 'holdgap-reloaded-for';
    if (sessionStorage.getItem(key) === String(version)) return;
    sessionStorage.setItem(key, String(version));
    location.reload();
  } catch (e) {
    // no storage in this browser: the note asks for a reload by hand
  }
}

/**
 * The address of a WebSocket of this server, with the page's token if it has one.
 * @param {string} path
 */
export function socketURL(path) {
  const u = new URL(path, location.href);
  u.protocol = location.protocol === 'https:' ? 'wss:' : 'ws:';
  const token = new URLSearchParams(location.search).get('token');
  if (token) u.searchParams.set('token', token);
  return u.href;
}
