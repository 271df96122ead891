// What the page says, computed from what capture.js reports. Pure.

/** @typedef {import('./capture.js').CaptureStatus} CaptureStatus */

/** @type {Record<string, string>} plain words for names that are not words */
const NAMES = {
  tl: 'upper left front', tr: 'upper right front', tl2: 'lower left front', tr2: 'lower right front',
  thumbl: 'left stick pressed', thumbr: 'right stick pressed', mode: 'centre',
  stick_up: 'stick up', stick_down: 'stick down', stick_left: 'stick left', stick_right: 'stick right',
  stick2_up: 'right stick up', stick2_down: 'right stick down', stick2_left: 'right stick left', stick2_right: 'right stick right',
};

/**
 * Keys by their positions, in words.
 * @param {string[]} keys
 */
export function downWords(keys) {
  return keys.map((k) => NAMES[k] ?? k.replace(/^key_/, 'key ').replace(/^button(\d+)$/, 'button $1')
    .replace(/^axis(\d+)_(minus|plus)$/, 'axis $1 $2')).join(' · ');
}

/**
 * The state of the page: its kind (for the look), a title and what to do next.
 * @param {CaptureStatus} s
 * @returns {{kind: 'ready' | 'waiting' | 'connecting' | 'stopped' | 'trouble', title: string, hint: string}}
 */
export function stateWords(s) {
  switch (s.link) {
    case 'stopped':
      return { kind: 'stopped', title: 'Not reading', hint: 'Nothing is read or sent until you choose “Read again”.' };
    case 'refused':
      return { kind: 'trouble', title: 'The program refused this page', hint: `It says: ${s.why || 'nothing'}. It is tried again every few seconds; reloading the page may help.` };
    case 'lost':
      return { kind: 'trouble', title: 'Connection lost', hint: `Presses are not counted now. Trying again by itself${s.why ? `: ${s.why}` : ''}; is the program still running?` };
    case 'connecting':
      return { kind: 'connecting', title: 'Looking for the program…', hint: 'If this stays, the program is not running, or this address has no right to play.' };
    default:
  }
  if (s.pads.length > 0) {
    const names = s.pads.map((p) => shortName(p.id)).join(', ');
    const own = s.pads.some((p) => p.mapping === '');
    const hints = [];
    if (own) hints.push('The browser does not know this pad’s layout, so its buttons go by number: bind them by pressing.');
    if (s.boundCodes > 0) hints.push(keyboardHint(s));
    if (hints.length === 0) hints.push('A button held while this page opened counts from its next press.');
    return { kind: 'ready', title: `Reading ${names}`, hint: hints.join(' ') };
  }
  if (!s.supported) {
    const hint = s.boundCodes > 0 ? keyboardHint(s) : 'Use a current browser, or run the program on the machine the pad is plugged into.';
    return { kind: s.boundCodes > 0 ? 'ready' : 'trouble', title: 'This browser cannot read a gamepad', hint };
  }
  if (s.boundCodes > 0) {
    return { kind: s.blurred ? 'waiting' : 'ready', title: s.blurred ? 'Keyboard not read' : 'Reading the keyboard', hint: `${keyboardHint(s)} A gamepad shows up once a button on it is pressed.` };
  }
  return { kind: 'waiting', title: 'Press any button on the gamepad', hint: 'Browsers show a gamepad to a page only then. That first press does not count yet.' };
}

/**
 * What keeps a page from reading, in a few words for a corner of the strip; empty
 * when nothing does, and while the connection is looked for, which the strip tells itself.
 * @param {CaptureStatus} s
 */
export function troubleWords(s) {
  if (s.link === 'refused') return `not reading the gamepad: ${s.why || 'the program refused it'}`;
  if (s.link !== 'open' || s.pads.length > 0) return '';
  if (!s.supported) return s.boundCodes > 0 ? '' : 'this browser source cannot read a gamepad';
  return s.boundCodes > 0 && !s.blurred ? '' : 'press any button on the gamepad';
}

/** @param {CaptureStatus} s */
function keyboardHint(s) {
  const n = s.boundCodes === 1 ? 'One key of the keyboard is bound' : `${s.boundCodes} keys of the keyboard are bound`;
  return s.blurred ? `${n}, but this tab does not have the focus: click on it.` : `${n} and read while this tab has the focus.`;
}

/**
 * What looking costs.
 * @param {CaptureStatus} s
 */
export function costWords(s) {
  if (s.pollMean <= 0) return { figure: 'measuring', words: '' };
  const browser = 4; // ms between the browser's own looks at a pad (Chromium)
  const smear = Math.max(browser, s.pollMean) / s.frameMS;
  const slow = s.pollMean > 2 * browser ? ' This machine is busy: close what keeps it so.' : '';
  return {
    figure: `every ${ms(s.pollMean)}`,
    words: `The longest pause was ${ms(s.pollWorst)}; a shorter press can slip through one. Browsers hear from a gamepad about every ${browser} ms, so each edge is smeared by up to ${frames(smear)} at ${rate(s.frameMS)} a second.${slow}`,
  };
}

/**
 * What the way to the program costs.
 * @param {CaptureStatus} s
 */
export function roundTripWords(s) {
  if (s.rtt <= 0) return { figure: s.link === 'open' ? 'measuring' : 'not connected', words: '' };
  return {
    figure: ms(s.rtt),
    words: `Presses carry their own times, so the way does not add to them: the clocks agree to ±${ms(s.err)}, ${frames(s.err / s.frameMS)}.`,
  };
}

/**
 * How much was missed while the tab was hidden.
 * @param {CaptureStatus} s
 */
export function missedWords(s) {
  const { times, ms: t } = s.missed;
  if (times === 0) return 'none missed';
  const seconds = t / 1000;
  const long = seconds < 10 ? seconds.toFixed(1) : String(Math.round(seconds));
  return `hidden ${times === 1 ? 'once' : `${times} times`}, ${long} s in all`;
}

/**
 * What is sent.
 * @param {CaptureStatus} s
 */
export function readWords(s) {
  if (s.learn) return 'A button is being bound by pressing: every button of the gamepad is sent until that is done.';
  if (s.link !== 'open') return 'Only what is bound is sent.';
  const pad = s.boundKeys.length - s.boundCodes;
  return `Only what is bound is sent: ${count(pad, 'gamepad button')} and ${count(s.boundCodes, 'keyboard key')}.`;
}

/**
 * The strip's address that plays by itself.
 * @param {string} here the page's address
 */
export function stripAddress(here) {
  const from = new URL(here);
  const to = new URL('/strip?play=1', from);
  const token = from.searchParams.get('token');
  if (token) to.searchParams.set('token', token);
  return to.href;
}

/**
 * A gamepad's name without the numbers that browsers add to it.
 * @param {string} id
 */
export function shortName(id) {
  const m = /^[0-9a-f]{1,4}-[0-9a-f]{1,4}-(.*\S)/i.exec(id) ?? /^(.+?) \((?:STANDARD GAMEPAD )?Vendor: .*\)$/.exec(id);
  return (m ? m[1] : id).trim() || 'Gamepad';
}

/** @param {number} v */
const ms = (v) => `${v < 10 ? v.toFixed(1) : Math.round(v)} ms`;

/** @param {number} v */
const frames = (v) => `${v.toFixed(2)} of a frame`;

/** @param {number} frameMS */
function rate(frameMS) {
  const r = 1000 / frameMS;
  const near = Math.round(r);
  return `${Math.abs(r - near) < 0.005 ? near : r.toFixed(2)} frames`;
}

/**
 * @param {number} n
 * @param {string} what
 */
const count = (n, what) => `${n === 0 ? 'no' : n} ${what}${n === 1 ? '' : 's'}`;
