// Now: which profile is in force and which target, to be changed in two clicks.

import { at, build, button, field, h, select, sureButton, tick } from './dom.js';
import { realOnes } from './words.js';

/**
 * @param {import('./main.js').Desk} d
 * @param {number} refused
 */
export function drawNow(d, refused) {
  const { state: s, profile: p } = d;
  const devices = realOnes(s.devices).map((x) => [x.identity, x.name]);
  build(at('now-box'), [s.settings.profile, s.settings.profiles.map((x) => x.name), p.target, p.window, s.targets, p.devices, devices, s.settings.follow_device, refused], () => [
    h('div', { class: 'row' },
      field('profile', 'Profile', select(s.settings.profiles.map((x) => [x.name, x.name]), p.name, (v) => d.link.send({ do: 'choose', profile: v })),
        'One for each game and controller.')),
    h('fieldset', { class: 'beads' },
      h('legend', {}, 'The strip judges by'),
      ...s.targets.map((t, i) => bead(`aim-${i}`, t.name, t.short ? 'no link' : t.wrong ? 'cannot be used' : `window ${t.window}`, p.target === t.name, Boolean(t.wrong) || t.window <= 0, () => d.patch({ target: t.name }))),
      bead('aim-none', 'No target', p.window > 0 ? `a window of ${p.window}` : 'nothing', p.target === '', false, () => d.patch({ target: '' }))),
    h('details', { id: 'profiles' }, h('summary', {}, 'Profiles: add, rename, remove, follow the controller'),
      h('div', { class: 'row' }, ...naming(d)),
      tick('follow', 'Choose the profile by the controller that is plugged in', s.settings.follow_device, (on) => d.set({ follow_device: on })),
      ...forDevices(d, devices)),
  ]);
}

/**
 * @param {string} id
 * @param {string} label
 * @param {string} note
 * @param {boolean} on
 * @param {boolean} off
 * @param {() => void} choose
 */
function bead(id, label, note, on, off, choose) {
  return h('label', { class: 'bead', for: id },
    h('input', { type: 'radio', name: 'aim', id, checked: on, disabled: off, onchange: choose }),
    h('span', {}, h('b', {}, label), ` ${note}`));
}

/** @param {import('./main.js').Desk} d */
function naming(d) {
  const p = d.profile;
  const name = h('input', { type: 'text', maxlength: 60, value: '', autocomplete: 'off' });
  return [
    field('profile-name', 'Name', name, `For a new profile, or a new name for “${p.name}”.`),
    h('div', { class: 'buttons' },
      button('Add a copy of this one', () => d.link.send({ do: 'copy', profile: p.name, to: name.value.trim() }), { id: 'profile-add' }),
      button('Rename this one', () => d.patch({ name: name.value.trim() }), { id: 'profile-rename' }),
      sureButton('Remove this one', `Really remove “${p.name}”?`, () => d.link.send({ do: 'remove', profile: p.name }), { id: 'profile-remove', disabled: d.state.settings.profiles.length < 2 })),
  ];
}

/**
 * @param {import('./main.js').Desk} d
 * @param {string[][]} devices identity and name of those plugged in
 */
function forDevices(d, devices) {
  const ids = d.profile.devices ?? [];
  const names = new Map(devices.map(([id, name]) => [id, name]));
  const all = [...new Set([...ids, ...names.keys()])].filter((id) => id !== '');
  if (all.length === 0) return [h('p', { class: 'quiet' }, 'Plug a controller in to tie it to this profile.')];
  return all.map((id, i) => tick(`for-${i}`, `“${d.profile.name}” is for ${names.get(id) ?? id}`, ids.includes(id),
    (on) => d.patch({ devices: on ? [...ids, id] : ids.filter((x) => x !== id) }),
    names.has(id) ? `Known by ${id}.` : 'Not plugged in now.'));
}
