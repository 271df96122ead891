// Types of the messages, as package wire documents them, and of themes. There
// is no code here.

/**
 * @typedef {{label: string, role: string, keys: number}} Button
 * @typedef {{rate: string, frame_ms: number, read: string, phase_ms?: number, window: number,
 *   target?: string, wanted: number, buttons: Button[], theme: string, theme_rev: number,
 *   strip?: Record<string, string>}} Setup
 * @typedef {{key: string, text: string}} Trouble
 * @typedef {{demo: boolean, paused: boolean, take: boolean, replay: boolean,
 *   devices: unknown[] | null, troubles: Trouble[] | null}} Status
 * @typedef {{id: number, b: number, state: string, first: number, hold: number, hold_sure?: number,
 *   gap: number, gap_sure?: number, merged?: number, keys: number[] | null, bounce?: boolean}} Press
 * @typedef {{id: number, b: number, presses: number[], spacings: number[] | null, first: number,
 *   verdict: string, window: number, covered: number, holes?: [number, number][] | null,
 *   spans?: [number, number][] | null, sure: number, flash?: boolean, words: string}} Multi
 * @typedef {{id: number, first: number, num: number}} Direction
 * @typedef {{id: number, kind: string, open: number, close: number, b: number, press?: number,
 *   frames?: number, sure?: number, words?: string, flash?: boolean}} Outcome
 * @typedef {{run: number, best: number, last: string[] | null}} Streak
 * @typedef {{v: number, n: number, f: number, whole?: boolean, setup?: Setup, status?: Status,
 *   presses?: Press[] | null, multis?: Multi[] | null, directions?: Direction[] | null,
 *   outcomes?: Outcome[] | null, held?: [number, number][] | null, streak?: Streak}} Update
 */

/**
 * A theme as /themes/NAME.json gives it. Colours are "#rrggbb"; sizes are CSS
 * pixels at scale 1, or parts of the digit size where they say so.
 * @typedef {{
 *   name: string, label: string, about: string,
 *   colour: {halo: string, text: string, thread: string, mark: string, tick: string,
 *     bead: string, bead_text: string, direction: string, window: string, window_text: string,
 *     hole: string, flash: string, note: string, note_text: string, background: string},
 *   size: {digit: number, label: number, thread: number, halo: number},
 *   shape: {bead: string, plate: string},
 *   font: {family: string, weight: number, url: string},
 *   labels: {case: string, demo: string, replay: string, paused: string},
 *   motion: {flash_hold: number, flash_fade: number}
 * }} Theme
 */

export {};
