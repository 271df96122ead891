// The strip's options: one table of names, values, defaults and help, read from
// the page's address. A wrong value falls back to the default and is told.

/**
 * @typedef {'choice' | 'number' | 'list' | 'set' | 'colour' | 'word' | 'switch'} Kind
 * @typedef {{
 *   name: string,
 *   kind: Kind,
 *   values?: string[],
 *   min?: number,
 *   max?: number,
 *   whole?: boolean,
 *   unit?: string,
 *   also?: string[],
 *   normal: string,
 *   help: string,
 * }} Option
 */

/** @type {Option[]} */
export const OPTIONS = [
  {
    name: 'theme', kind: 'word', normal: '',
    help: 'Name of a theme. Without it the strip wears the theme chosen on the desk.',
  },
  {
    name: 'buttons', kind: 'list', normal: 'auto', also: ['auto'],
    help: 'Which buttons have a thread, in this order: labels with commas between, or auto for those pressed so far, in the order of the layout.',
  },
  {
    name: 'direction', kind: 'choice', values: ['digits', 'arrows', 'off'], normal: 'digits',
    help: 'The thread of directions: numpad digits, arrows, or none. It shows once a direction has been held.',
  },
  {
    name: 'frames', kind: 'number', min: 36, max: 240, whole: true, also: ['auto'], normal: 'auto', unit: 'frames',
    help: 'Frames across the strip, never less than six tenths of a second. auto chooses as many as leave room for large digits.',
  },
  {
    name: 'axis', kind: 'choice', values: ['horizontal', 'vertical'], normal: 'horizontal',
    help: 'Whether the threads run across or down.',
  },
  {
    name: 'mirror', kind: 'switch', normal: '0',
    help: '1 runs the strip the other way, for the right-hand side of a scene: newest at the left (or the top).',
  },
  {
    name: 'scale', kind: 'number', min: 0.5, max: 4, normal: '1',
    help: 'Size of everything on the strip.',
  },
  {
    name: 'delay', kind: 'number', min: 0, max: 5000, normal: '0', unit: 'ms',
    help: 'Shows everything this much later, so that the strip meets a game picture that comes late.',
  },
  {
    name: 'counts', kind: 'set', values: ['holds', 'gaps', 'spacings', 'windows'], normal: 'holds,gaps,windows',
    help: 'Which counts to show: frames held, frames between, frames from press to press, and the window each multi-press covers. none shows no count.',
  },
  {
    name: 'words', kind: 'switch', normal: '1',
    help: '0 leaves out the few words beside a verdict.',
  },
  {
    name: 'background', kind: 'colour', also: ['transparent', 'theme'], normal: 'transparent',
    help: 'transparent, theme (the one that the theme names), or a colour such as 10201c.',
  },
  {
    name: 'motion', kind: 'choice', values: ['pull', 'scroll', 'still'], normal: 'pull',
    help: 'pull: the cloth stands still while it is woven and is pulled on by a third, or half a second, when it reaches the end. scroll: runs on with every frame; while presses come so thick that beads running past one spot would flicker, it is pulled instead. still: pulled on by a whole strip only. Who asks the system for reduced motion gets still unless the address says otherwise.',
  },
  {
    name: 'rest', kind: 'number', min: 0, max: 600, whole: true, normal: '10', unit: 'frames',
    help: 'After this many frames in which nothing happens the strip rests, so that the last presses stay in sight; two slanted strokes mark the time left out. 0 never rests.',
  },
  {
    name: 'fingers', kind: 'choice', values: ['auto', 'on', 'off'], normal: 'auto',
    help: 'Pegs at the front of a bead tell by shape and place which physical keys of the button made the press. auto: for buttons with more than one key.',
  },
  {
    name: 'flash', kind: 'choice', values: ['fill', 'outline', 'off'], normal: 'fill',
    help: 'How a multi-press that covers the window lights up. Who asks the system for reduced motion gets outline unless the address says off.',
  },
  {
    name: 'flashes', kind: 'number', min: 1, max: 3, whole: true, normal: '2', unit: 'a second',
    help: 'At most this many flashes in any second, over all causes.',
  },
  {
    name: 'labels', kind: 'switch', normal: '1',
    help: '0 leaves out the labels at the end of the threads.',
  },
  {
    name: 'streak', kind: 'switch', normal: '0',
    help: '1 shows the run of hits and the last twenty outcomes.',
  },
  {
    name: 'play', kind: 'switch', normal: '0',
    help: '1 also reads the gamepad in this browser, for systems on which the program itself cannot.',
  },
  {
    name: 'frame', kind: 'number', min: 0, max: 9e15, also: ['now'], normal: 'now', unit: 'frames',
    help: 'Draws this one frame and stands still, for exact pictures.',
  },
  {
    name: 'token', kind: 'word', normal: '',
    help: 'The word that lets this page in when the program listens on a network.',
  },
];

/**
 * @typedef {{
 *   theme: string,
 *   buttons: string[] | null,
 *   direction: string,
 *   frames: number,
 *   vertical: boolean,
 *   mirror: boolean,
 *   scale: number,
 *   delay: number,
 *   holds: boolean, gaps: boolean, spacings: boolean, windows: boolean,
 *   words: boolean,
 *   background: string,
 *   motion: string,
 *   guard: boolean,
 *   rest: number,
 *   fingers: string,
 *   flash: string,
 *   flashes: number,
 *   labels: boolean,
 *   streak: boolean,
 *   play: boolean,
 *   frame: number | null,
 *   wrong: string[],
 * }} StripOptions  frames is 0 for auto; rest is Infinity for never;
 *   guard, not an option: pull where scrolling beads would flicker
 */

/** Options that only an address can set. */
const OF_ADDRESS = new Set(['theme', 'play', 'frame', 'token']);

/**
 * Reads the options from the query of an address, and what that leaves open from
 * the desk's.
 * @param {string} query as in location.search
 * @param {boolean} reduced whether the system asks for reduced motion
 * @param {Record<string, string>} desk options chosen on the desk, by name
 * @returns {StripOptions}
 */
export function readOptions(query, reduced = false, desk = {}) {
  const given = new URLSearchParams(query);
  /** @type {string[]} */
  const wrong = [];
  /** @type {Record<string, string>} */
  const v = {};
  for (const o of OPTIONS) {
    const own = given.get(o.name);
    const raw = own ?? (OF_ADDRESS.has(o.name) ? null : desk[o.name] ?? null);
    v[o.name] = o.normal;
    if (raw === null) continue;
    const why = fault(o, raw.trim());
    if (why) wrong.push(`${own === null ? 'desk: ' : ''}${o.name}=${clip(raw)}: ${why}; using ${o.normal || 'the desk’s'}`);
    else v[o.name] = raw.trim();
  }
  for (const key of new Set(given.keys())) {
    if (!OPTIONS.some((o) => o.name === key)) wrong.push(`${clip(key)}: no such option; see /options`);
    else if (given.getAll(key).length > 1) wrong.push(`${key}: given twice; using the first`);
  }
  const counts = new Set(list(v.counts));
  const rest = Number(v.rest);
  return {
    theme: v.theme,
    buttons: v.buttons === 'auto' ? null : list(v.buttons),
    direction: v.direction,
    frames: v.frames === 'auto' ? 0 : Number(v.frames),
    vertical: v.axis === 'vertical',
    mirror: v.mirror === '1',
    scale: Number(v.scale),
    delay: Number(v.delay),
    holds: counts.has('holds'),
    gaps: counts.has('gaps'),
    spacings: counts.has('spacings'),
    windows: counts.has('windows'),
    words: v.words === '1',
    background: colour(v.background),
    motion: reduced && !given.has('motion') ? 'still' : v.motion,
    guard: true,
    rest: rest === 0 ? Infinity : rest,
    fingers: v.fingers,
    flash: reduced && v.flash === 'fill' ? 'outline' : v.flash,
    flashes: Number(v.flashes),
    labels: v.labels === '1',
    streak: v.streak === '1',
    play: v.play === '1',
    frame: v.frame === 'now' ? null : Number(v.frame),
    wrong,
  };
}

/**
 * What is wrong with a value, in words; empty if nothing is.
 * @param {Option} o
 * @param {string} raw
 */
function fault(o, raw) {
  if (o.also && o.also.includes(raw)) return '';
  switch (o.kind) {
    case 'choice':
      return o.values?.includes(raw) ? '' : `must be ${words(o.values ?? [])}`;
    case 'switch':
      return raw === '0' || raw === '1' ? '' : 'must be 0 or 1';
    case 'number': {
      const n = Number(raw);
      const min = o.min ?? -Infinity;
      const max = o.max ?? Infinity;
      if (raw === '' || !Number.isFinite(n) || n < min || n > max || (o.whole && !Number.isInteger(n))) {
        const also = o.also && o.name !== 'frame' ? `${o.also.join(', ')} or ` : '';
        return `must be ${also}a ${o.whole ? 'whole ' : ''}number from ${min} to ${max}`;
      }
      return '';
    }
    case 'set': {
      if (raw === 'none') return '';
      const bad = list(raw).find((w) => !o.values?.includes(w));
      if (bad !== undefined) return `${clip(bad)} is not one of ${words(o.values ?? [])}`;
      return list(raw).length > 0 ? '' : 'name at least one, or write none';
    }
    case 'list':
      return list(raw).length > 0 ? '' : 'name at least one';
    case 'colour':
      return /^#?([0-9a-f]{3}|[0-9a-f]{6}|[0-9a-f]{8})$/i.test(raw) ? '' : 'must be transparent, theme or a colour such as 10201c';
    case 'word':
      return o.name !== 'theme' || /^[a-z0-9][a-z0-9_-]{0,39}$/.test(raw) ? '' : 'must be the name of a theme, in small letters';
    default:
      return '';
  }
}

/** @param {string} s */
const list = (s) => s.split(',').map((w) => w.trim()).filter((w) => w !== '');

/** @param {string} s */
const clip = (s) => (s.length > 24 ? `${s.slice(0, 23)}…` : s);

/** @param {string[]} a */
const words = (a) => (a.length < 2 ? a.join('') : `${a.slice(0, -1).join(', ')} or ${a[a.length - 1]}`);

/** @param {string} s */
const colour = (s) => (/^[0-9a-f]+$/i.test(s) ? `#${s}` : s);
