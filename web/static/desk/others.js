// Other machines: an address with a token for each role, as a code to scan. What
// a token allows is hidden until asked for: the desk may be on a stream.

import { addressOf } from './strip.js';
import { at, build, button, copy, field, h, put, select, sureButton } from './dom.js';

/** @type {[string, string, string, string][]} role, title, path, what for */
const ROLES = [
  ['view', 'To watch', '/strip', 'The strip on another machine: the streaming machine, a wall.'],
  ['play', 'To play', '/pad', 'A second machine or a student’s, with the controller plugged in there.'],
  ['control', 'To control', '/desk', 'This desk, on a phone or a tablet. Whoever has it can change everything.'],
];

const shown = new Set();
let base = '';

/** @param {import('./main.js').Desk} d */
export function drawOthers(d) {
  const lan = d.state.lan;
  if (lan && !lan.bases.includes(base)) base = lan.bases[0] ?? '';
  build(at('others-box'), [lan, base, [...shown], d.state.pads, lan && addressOf(d, base)], () => {
    if (!lan) {
      return [h('p', {}, 'Only this machine is served, and no other can reach it. To use a phone or a second machine, start the program with ', h('code', {}, '--lan'), '.')];
    }
    if (lan.bases.length === 0) return [h('p', { class: 'warn' }, 'This machine is on no network right now: connect it, and its addresses show up here.')];
    return [
      h('p', {}, 'Each role has an address of its own, with a token in it that lets in whoever knows it. Keep these off your stream. The connection is not encrypted: use a network whose members you trust.'),
      field('lan-base', 'This machine is reached as', select(lan.bases.map((b) => [b, b.replace('http://', '')]), base, (v) => { base = v; d.redraw(); })),
      h('div', { class: 'roles' }, ...ROLES.filter(([role]) => role !== 'play' || d.state.pads).map(([role, title, path, what]) => card(d, lan.tokens[role], role, title, path, what))),
    ];
  });
}

/**
 * @param {import('./main.js').Desk} d
 * @param {string} token
 * @param {string} role
 * @param {string} title
 * @param {string} path
 * @param {string} what
 */
function card(d, token, role, title, path, what) {
  const text = path === '/strip' ? addressOf(d, base, token) : `${base}${path}?k=${token}`;
  const on = shown.has(role);
  const code = h('code', { hidden: !on }, text);
  const said = h('span', { role: 'status' });
  return h('section', { class: 'role', 'aria-labelledby': `role-title-${role}` },
    h('h3', { id: `role-title-${role}` }, title), h('p', {}, what),
    on && h('img', { class: 'qr', alt: `A code with the address ${title.toLowerCase()}`, src: `/desk/qr.svg?text=${encodeURIComponent(text)}`, width: 220, height: 220 }),
    h('p', { class: 'copyline' }, code),
    h('div', { class: 'buttons' },
      button(on ? 'Hide it' : 'Show the code', () => { if (on) shown.delete(role); else shown.add(role); d.redraw(); }, { id: `show-${role}`, 'aria-expanded': on }),
      button('Copy the address', async () => {
        const before = code.hidden;
        code.hidden = false;
        const how = await copy(text, code);
        if (how === 'Copied.') code.hidden = before;
        put(said, how);
      }, { id: `copy-${role}` }),
      sureButton('New token', 'Really? Whoever is in by the old one is out', () => d.link.send({ do: 'renew', role }), { id: `renew-${role}`, class: 'plain' })),
    said);
}
