// Small helpers for building the page and for keeping what a person is doing in
// it while it is built anew.

/** @typedef {string | Node | null | false | undefined} Kid */

/**
 * Makes an element. Attributes: on… are listeners, true and false set and leave
 * out (but for aria-…, which say them), `value`, `checked` are properties, the rest are attributes.
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, any>} [attrs]
 * @param {...Kid} kids
 * @returns {HTMLElementTagNameMap[K]}
 */
export function h(tag, attrs = {}, ...kids) {
  const e = document.createElement(tag);
  for (const [k, v] of Object.entries(attrs)) {
    if (v === undefined || v === null || (v === false && !k.startsWith('aria-'))) continue;
    if (k.startsWith('on')) e.addEventListener(k.slice(2), v);
    else if (k === 'value' || k === 'checked') /** @type {any} */ (e)[k] = v;
    else e.setAttribute(k, v === true && !k.startsWith('aria-') ? '' : String(v));
  }
  for (const kid of kids) if (kid !== null && kid !== false && kid !== undefined) e.append(kid);
  if (tag === 'input' && attrs.value !== undefined) e.setAttribute('value', String(attrs.value)); // what it was, to tell what was typed
  return e;
}

const SVG = 'http://www.w3.org/2000/svg';

/**
 * Makes an SVG element.
 * @param {string} tag
 * @param {Record<string, string | number>} attrs
 * @param {string} [text]
 */
export function svg(tag, attrs, text) {
  const e = document.createElementNS(SVG, tag);
  for (const [k, v] of Object.entries(attrs)) e.setAttribute(k, String(v));
  if (text !== undefined) e.textContent = text;
  return e;
}

/**
 * @param {string} id
 * @returns {HTMLElement}
 */
export function at(id) {
  const e = document.getElementById(id);
  if (!e) throw new Error(`the page has no element ${id}`);
  return e;
}

/**
 * Writes a text if it is new, so that a screen reader is not told the same twice.
 * @param {Element} e
 * @param {string} text
 */
export function put(e, text) {
  if (e.textContent !== text) e.textContent = text;
}

// While a pointer is down nothing is built anew: a click ends on what it began on,
// or it is none. Writing in a field and then pressing a button is the usual case.
let pressing = false;
let owed = false;
let freed = () => {};
addEventListener('pointerdown', () => { pressing = true; }, true);
for (const end of ['pointerup', 'pointercancel']) {
  addEventListener(end, () => {
    pressing = false;
    if (!owed) return;
    owed = false;
    setTimeout(() => freed()); // after the click
  }, true);
}

/**
 * Calls back when what was put off while a pointer was down can be built.
 * @param {() => void} f
 */
export function whenFreed(f) {
  freed = f;
}

/** @type {WeakMap<Element, string>} */
const built = new WeakMap();

/**
 * Builds a part of the page anew if what it shows has changed. The focus, what was
 * typed but not given yet, and what was unfolded stay.
 * @param {Element} box
 * @param {unknown} shows
 * @param {() => Kid[]} make
 */
export function build(box, shows, make) {
  const key = JSON.stringify(shows);
  if (built.get(box) === key) return;
  if (pressing) {
    owed = true;
    return;
  }
  built.set(box, key);
  const active = document.activeElement;
  const held = active && box.contains(active) && active.id ? active.id : '';
  const typed = active instanceof HTMLInputElement && active.type !== 'checkbox' && active.type !== 'radio'
    && active.value !== active.getAttribute('value') ? active.value : null;
  const open = new Set([...box.querySelectorAll('details[open]')].map((d) => d.id));
  box.replaceChildren(...make().filter((k) => k !== null && k !== false && k !== undefined).map((k) => /** @type {Node | string} */ (k)));
  for (const d of box.querySelectorAll('details')) if (open.has(d.id)) d.open = true;
  if (!held) return;
  const again = document.getElementById(held);
  if (!again) {
    const near = box.querySelector('button:not([disabled]), input, select'); // what had the focus is gone
    if (near instanceof HTMLElement) near.focus({ preventScroll: true });
    return;
  }
  again.focus({ preventScroll: true });
  if (typed !== null && again instanceof HTMLInputElement) again.value = typed;
}

/**
 * Has a part built anew next time, as after a value was refused.
 * @param {Element} box
 */
export function forget(box) {
  built.delete(box);
}

/**
 * A labelled field: label, control, and a line of help that belongs to it.
 * @param {string} id
 * @param {string} label
 * @param {HTMLElement} control
 * @param {string} [help]
 * @param {string} [unit]
 */
export function field(id, label, control, help, unit) {
  control.id = id;
  if (help) control.setAttribute('aria-describedby', `${id}-help`);
  return h('div', { class: 'field' },
    h('label', { for: id }, label),
    unit ? h('span', { class: 'with-unit' }, control, h('span', { class: 'unit' }, unit)) : control,
    help ? h('p', { class: 'help', id: `${id}-help` }, help) : null);
}

/**
 * @param {[string, string][]} choices value and words
 * @param {string} value
 * @param {(v: string) => void} change
 */
export function select(choices, value, change) {
  const e = h('select', { onchange: () => change(e.value) }, ...choices.map(([v, w]) => h('option', { value: v, selected: v === value }, w)));
  e.value = value;
  return e;
}

/**
 * @param {number} value
 * @param {{min?: number, max?: number, step?: number | string}} limits
 * @param {(v: number) => void} change
 */
export function number(value, limits, change) {
  const e = h('input', {
    type: 'number', inputmode: 'decimal', step: 1, ...limits, value,
    onchange: () => { if (e.value.trim() !== '' && e.validity.valid) change(e.valueAsNumber); else e.reportValidity(); },
  });
  return e;
}

/**
 * A box to tick, with its words and help.
 * @param {string} id
 * @param {string} label
 * @param {boolean} on
 * @param {(on: boolean) => void} change
 * @param {string} [help]
 */
export function tick(id, label, on, change, help) {
  const e = h('input', { type: 'checkbox', id, checked: on, onchange: () => change(e.checked), 'aria-describedby': help ? `${id}-help` : undefined });
  return h('div', { class: 'tick' }, e, h('label', { for: id }, label), help ? h('p', { class: 'help', id: `${id}-help` }, help) : null);
}

/**
 * A button.
 * @param {string} text
 * @param {() => void} click
 * @param {Record<string, any>} [attrs]
 */
export function button(text, click, attrs = {}) {
  return h('button', { type: 'button', ...attrs, onclick: click }, text);
}

/**
 * A button that asks once before it does what cannot be undone; two clicks.
 * @param {string} text
 * @param {string} sure
 * @param {() => void} click
 * @param {Record<string, any>} [attrs]
 */
export function sureButton(text, sure, click, attrs = {}) {
  let asked = false;
  const name = attrs['aria-label'];
  /** @param {boolean} on */
  const ask = (on) => {
    asked = on;
    e.textContent = on ? sure : text;
    if (name) e.setAttribute('aria-label', on ? `${sure} ${name}` : name);
  };
  const e = button(text, () => {
    if (asked) click();
    else ask(true);
  }, attrs);
  e.addEventListener('blur', () => ask(false));
  return e;
}

/**
 * Copies a text, or selects it where the browser has no clipboard for the page.
 * @param {string} text
 * @param {HTMLElement} shown element that holds it
 * @returns {Promise<string>} what to say
 */
export async function copy(text, shown) {
  try {
    await navigator.clipboard.writeText(text);
    return 'Copied.';
  } catch (e) {
    const range = document.createRange();
    range.selectNodeContents(shown);
    getSelection()?.removeAllRanges();
    getSelection()?.addRange(range);
    return 'Selected: copy it with the keyboard.';
  }
}
