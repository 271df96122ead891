// The page of options: the table of the strip's options, a sample of its marks,
// and the themes there are.

import { Governor } from '../lib/flash.js';
import { apply, createState } from '../lib/state.js';
import { loadTheme } from '../lib/theme.js';
import { Painter } from '../strip/draw.js';
import { layout } from '../strip/layout.js';
import { OPTIONS, readOptions } from '../strip/options.js';
import { Scene } from '../strip/scene.js';
import { AT, MARKS, SAMPLE } from './sample.js';

/**
 * @param {string} tag
 * @param {string} text
 */
function element(tag, text) {
  const e = document.createElement(tag);
  e.textContent = text;
  return e;
}

/** @param {import('../strip/options.js').Option} o */
function values(o) {
  const unit = o.unit ? ` ${o.unit}` : '';
  /** @type {string[]} */
  const parts = [...(o.also ?? [])];
  switch (o.kind) {
    case 'choice':
      parts.push(...(o.values ?? []));
      break;
    case 'switch':
      parts.push('0', '1');
      break;
    case 'number':
      parts.push(o.name === 'frame' ? 'a frame' : `${o.min} to ${o.max}${unit}`);
      break;
    case 'set':
      parts.push(...(o.values ?? []), 'none');
      break;
    case 'colour':
      parts.push('a colour such as 10201c');
      break;
    case 'list':
      parts.push('labels');
      break;
    default:
      parts.push(o.name === 'theme' ? 'a theme' : 'a word');
  }
  return parts.join(', ');
}

function table() {
  const body = document.getElementById('options');
  for (const o of OPTIONS) {
    const row = document.createElement('tr');
    const name = element('th', o.name);
    name.setAttribute('scope', 'row');
    row.append(name, element('td', values(o)), element('td', o.normal || '–'), element('td', o.help));
    body?.append(row);
  }
}

function marks() {
  const list = document.getElementById('marks');
  for (const [mark, means] of MARKS) {
    const pair = document.createElement('div');
    pair.append(element('dt', mark), element('dd', means));
    list?.append(pair);
  }
}

async function themes() {
  const list = document.getElementById('theme-list');
  const r = await fetch('/themes.json');
  if (!r.ok) return;
  /** @type {{name: string, label: string, about: string}[]} */
  const all = await r.json();
  for (const t of all) {
    const item = document.createElement('li');
    item.append(element('code', t.name), ` ${t.label}${t.about ? `: ${t.about}` : ''}`);
    list?.append(item);
  }
}

async function sample() {
  const canvas = /** @type {HTMLCanvasElement} */ (document.getElementById('sample'));
  const options = readOptions('?rest=0&motion=scroll&scale=0.8', false);
  options.guard = false; // it stands still
  const dark = matchMedia('(prefers-color-scheme: dark)');
  const painter = new Painter(canvas);
  const state = createState(options.rest);
  apply(state, SAMPLE);
  const scene = new Scene();
  const governor = new Governor();
  const draw = async () => {
    const theme = await loadTheme(dark.matches ? 'lantern' : 'linen', 0);
    painter.wear(theme);
    const size = { w: canvas.clientWidth, h: canvas.clientHeight, dpr: devicePixelRatio || 1 };
    layout(scene, state, AT, options, size, theme, painter.measure, []);
    painter.draw(scene, theme, options, size, governor, 1000 / 60, state);
    document.documentElement.dataset.drawn = '1';
  };
  dark.addEventListener('change', draw);
  addEventListener('resize', draw);
  await draw();
}

table();
marks();
themes();
sample();
