// The sample on the page of options: made-up presses that show every mark.

/** Frame at which the sample is drawn. */
export const AT = 60.4;

const press = { state: 'up', hold_sure: 1, gap: -1, gap_sure: 1, keys: [0] };

/** @type {import('../lib/types.js').Update} */
export const SAMPLE = {
  v: 1, n: 1, f: AT, whole: true,
  setup: {
    rate: '60', frame_ms: 1000 / 60, read: 'sampled', window: 3, wanted: -1, theme: '', theme_rev: 0,
    buttons: [
      { label: 'west', role: 'action', keys: 1 },
      { label: 'south', role: 'action', keys: 2 },
    ],
  },
  status: { demo: false, paused: false, take: false, replay: false, devices: [], troubles: [] },
  directions: [
    { id: 1, first: 12, num: 5 },
    { id: 2, first: 17, num: 2 },
    { id: 3, first: 20, num: 3 },
    { id: 4, first: 23, num: 6 },
    { id: 5, first: 30, num: 5 },
  ],
  presses: [
    { ...press, id: 1, b: 1, first: 21, hold: 1 },
    { ...press, id: 2, b: 1, first: 24, hold: 2, gap: 2, keys: [1] },
    { ...press, id: 3, b: 0, first: 35, hold: 1 },
    { ...press, id: 4, b: 0, first: 40, hold: 2, gap: 4 },
    { ...press, id: 5, b: 1, first: 38, hold: 2, hold_sure: 0.6 },
    { ...press, id: 6, b: 1, first: 43, hold: 2, gap: 3, gap_sure: 0.6, merged: 1 },
    { ...press, id: 7, b: 0, first: 50, hold: 1, state: 'unseen' },
    { ...press, id: 8, b: 1, first: 50, hold: 2, keys: [1] },
    { ...press, id: 9, b: 1, first: 53, hold: 8, state: 'down', gap: 1, bounce: true },
    { ...press, id: 10, b: 0, first: 61, hold: 0, state: 'pending' },
  ],
  multis: [
    { id: 1, b: 1, presses: [1, 2], spacings: [3], first: 21, verdict: 'covered', window: 3, covered: 6, spans: [[19, 24]], sure: 1, words: '3 to 6 frames' },
    { id: 2, b: 0, presses: [3, 4], spacings: [5], first: 35, verdict: 'holed', window: 3, covered: 6, spans: [[33, 35], [38, 40]], holes: [[36, 37]], sure: 1, words: 'hole of 2 frames' },
  ],
};

/** What the marks mean. @type {[string, string][]} */
export const MARKS = [
  ['A bead', 'one hold, as long as the frames it was held, with their count on it. A long hold goes on as wound thread behind its bead, to a stop where it was let go.'],
  ['A count over bare thread', 'the gap: frames between two presses of one button.'],
  ['A clasp on the hem', 'the frames on which the window may have opened for a press of a multi-press to fall into it: one window, widened, with its size on it.'],
  ['A break with a count', 'a hole: frames between two clasps on which the window would have been missed. Bars above and below take the place of the clasp.'],
  ['A hatched bar', 'more presses than there is a plan for, or presses that do not help under the rules.'],
  ['Stitched outline and ~', 'a number that is not sure: the tool does not know where the game’s frames begin, and less than nine in ten of the possible grids give this count. The thread under such a gap hangs slack.'],
  ['A waist and ×2', 'two physical presses that the game reads as one hold, since no frame saw the button up.'],
  ['A hollow knot', 'a press that no frame saw: too short, between two looks of the game.'],
  ['A filled knot', 'a press that the game will read in its next frame.'],
  ['Pegs at the front of a bead', 'which physical key of the button was pressed: a round one at the top is its first key, a square one at the bottom its second, a triangle in the middle its third, a diamond its fourth.'],
  ['A kinked thread and ?', 'a gap too short for fingers: perhaps a bouncing switch.'],
  ['The thread of directions', 'numpad notation, facing right: 6 is right, 4 left, 8 up, 2 down, 5 a ring. The thread is thick while a direction is held.'],
  ['An arch on the hem', 'the window of a target: stitched while it is awaited, filled when it was hit, empty when not.'],
  ['Two slanted strokes', 'time left out: nothing happened there.'],
];
