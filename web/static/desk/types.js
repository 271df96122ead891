// Types of the desk's messages, as package desk documents them. There is no code here.

/**
 * @typedef {{label: string, role: string, keys: string[] | null}} Button
 * @typedef {{advantage: number, startup: number, buffer: number, startup_excludes_active: boolean}} LinkData
 * @typedef {{startup: number, active: number, recovery: number, hit_stop: number}} Move
 * @typedef {{name: string, frames: number, link?: LinkData | null, button: string, early: string, hold: number,
 *   presses: number, spacing: number, starter: string, opening: number, move?: Move | null}} Target
 * @typedef {{name: string, devices: string[] | null, rate: string, read: string, phase_ms: number | null,
 *   opposites: string, multi_press_spacing: number, bounce_ms: number, buttons: Button[] | null,
 *   targets: Target[] | null, target: string, window: number}} Profile
 * @typedef {{buttons: string[] | null, does: string}} Chord
 * @typedef {{version: number, profile: string, follow_device: boolean,
 *   strip: {theme: string, options: Record<string, string> | null},
 *   takes: {folder: string, ring_minutes: number},
 *   chords: Chord[] | null, profiles: Profile[]}} Settings
 * @typedef {{key: string, label?: string}} Key
 * @typedef {{id: number, name: string, source: string, identity: string, path?: string, keyboard?: boolean,
 *   report_ms?: number, down: Key[], presses: number, last: Key | null}} Device
 * @typedef {{n: number, desk: string, button: string, active: boolean, said: string, added: number,
 *   asks: {key: string, owner: string} | null}} Binding
 * @typedef {{name: string, window: number, short?: number, opening?: number, wrong?: string}} Resolved
 * @typedef {{
 *   v: number, revision: number, settings: Settings,
 *   changed: {desk: string, by: string, what: string, revision: number},
 *   undo: boolean, redo: boolean, wrong?: string,
 *   frame_ms: number, buttons: Button[], targets: Resolved[],
 *   devices: Device[], demo: boolean, paused: boolean, take: boolean, replay: boolean,
 *   troubles: {key: string, text: string}[], binding: Binding | null,
 *   themes: {name: string, label: string, about: string, builtin: boolean}[], theme_rev: number, standard: string,
 *   takes: boolean, pads: boolean, viewers: number, desks: number, base: string,
 *   lan: {bases: string[], tokens: Record<string, string>} | null,
 * }} State
 * @typedef {{window: number, short: number, opening: number, presses: number, spacing: number, suggested: boolean,
 *   starts: number, runs: [number, number][], holes: [number, number][], best: number, advice: string,
 *   error?: string, field?: string}} Cover
 * @typedef {{do: string, profile?: string, button?: string, to?: string, code?: string, note?: string,
 *   role?: string, on?: boolean, patch?: unknown}} Command
 */

export {};
