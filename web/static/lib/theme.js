// Fetches a theme and loads its font.

/** @typedef {import('./types.js').Theme} Theme */

/** @type {Map<string, Promise<void>>} */
const fonts = new Map();

/**
 * Loads a theme by name. Rejects with a message for people if there is none.
 * @param {string} name
 * @param {number} rev goes up when a theme file changed
 * @returns {Promise<Theme>}
 */
export async function loadTheme(name, rev) {
  const r = await fetch(`/themes/${encodeURIComponent(name)}.json?rev=${rev}`);
  if (!r.ok) throw new Error(`no theme named ${name}`);
  /** @type {Theme} */
  const theme = await r.json();
  await loadFont(theme);
  return theme;
}

/** @param {Theme} theme */
async function loadFont(theme) {
  const { family, weight, url } = theme.font;
  if (url === '') {
    await document.fonts.load(`${weight} 20px "${family}"`);
    return;
  }
  const key = `${family} ${weight} ${url}`;
  let p = fonts.get(key);
  if (!p) {
    const face = new FontFace(family, `url("${url}")`, {
      weight: String(weight),
      display: 'block',
      featureSettings: '"tnum"', // digits of one width, so that a growing count stands still
    });
    document.fonts.add(face);
    p = face.load().then(() => undefined);
    fonts.set(key, p);
  }
  await p.catch(() => undefined); // without its font a theme still shows, in the next best
}
