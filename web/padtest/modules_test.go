package padtest

import (
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
)

// module opens a page from which modules can be imported.
func module(t *testing.T) *tab { return open(t, start(t).url+"/bare") }

// The page and the program name keys alike; the standard layout is that of
// https://www.w3.org/TR/gamepad/#remapping.
func TestNamesAreThoseOfTheProgram(t *testing.T) {
	b := module(t)
	type names struct{ Buttons, Axes []string }
	for _, standard := range []bool{true, false} {
		got := js[names](b, fmt.Sprintf(`(async () => {
			const m = await import('/static/pad/edges.js');
			const Buttons = [], Axes = [];
			for (let i = 0; i < m.MAX_BUTTONS; i++) Buttons.push(m.buttonName(i, %[1]v));
			for (let i = 0; i < m.MAX_AXES; i++) Axes.push(m.axisName(i, false, %[1]v), m.axisName(i, true, %[1]v));
			return { Buttons, Axes };
		})()`, standard))
		require.Len(t, got.Buttons, capture.WebButtons)
		require.Len(t, got.Axes, 2*capture.WebAxes)
		for i, n := range got.Buttons {
			assert.Equal(t, capture.WebButton(i, standard), n)
		}
		for i, n := range got.Axes {
			assert.Equal(t, capture.WebAxis(i/2, i%2 == 1, standard), n)
		}
	}
}

func TestEdgesFromLooks(t *testing.T) {
	b := module(t)
	type look struct {
		Buttons []float64 `json:"buttons"`
		Axes    []float64 `json:"axes"`
	}
	l := func(buttons []float64, axes ...float64) look {
		if axes == nil {
			axes = []float64{}
		}
		return look{buttons, axes}
	}
	for name, c := range map[string]struct {
		mapping string
		looks   []look
		want    []string
	}{
		"press and release": {"standard", []look{l([]float64{0, 0}), l([]float64{1, 0}), l([]float64{1, 1}), l([]float64{0, 1}), l([]float64{0, 0})},
			[]string{"+south", "+east", "-south", "-east"}},
		"releases come before presses of one look": {"standard", []look{l([]float64{0, 0}), l([]float64{0, 1}), l([]float64{1, 0})},
			[]string{"+east", "-east", "+south"}},
		"held at the first look": {"standard", []look{l([]float64{1}), l([]float64{1}), l([]float64{0}), l([]float64{1})},
			[]string{"+south"}},
		"stick through the middle": {"standard", []look{l(nil, 0, 0), l(nil, -1, 0), l(nil, 1, 0), l(nil, 0, -1)},
			[]string{"+stick_left", "-stick_left", "+stick_right", "-stick_right", "+stick_up"}},
		"a trigger as an axis that rests at one end": {"", []look{l(nil, -1), l(nil, 0), l(nil, 1), l(nil, -1), l(nil, 1)},
			[]string{"+axis0_plus", "-axis0_plus", "+axis0_minus", "-axis0_minus", "+axis0_plus"}},
		"a hat as an axis": {"", []look{l(nil, 1.286), l(nil, -1), l(nil, -0.714), l(nil, -0.429), l(nil, 0.143), l(nil, 0.714), l(nil, 1), l(nil, 3.286)},
			[]string{"+up", "+right", "-up", "-right", "+down", "-down", "+left", "+up", "-up", "-left"}},
		"a hat that is held at the first look": {"", []look{l(nil, 0.143), l(nil, 1.286), l(nil, 0.143), l(nil, 1.286)},
			[]string{"+down", "-down"}},
		"not a number": {"standard", []look{l([]float64{0}, 0)}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			if c.looks[0].Buttons == nil {
				for i := range c.looks {
					c.looks[i].Buttons = []float64{}
				}
			}
			text, err := json.Marshal(c.looks)
			require.NoError(t, err)
			got := js[[]string](b, fmt.Sprintf(`(async () => {
				const { PadEdges } = await import('/static/pad/edges.js');
				const looks = %s.map((l) => ({ mapping: %q, axes: l.axes, buttons: l.buttons.map((value) => ({ value, pressed: value > 0.1 })) }));
				const out = [];
				const p = new PadEdges(looks[0]);
				for (const l of looks.slice(1)) p.step(l, (e) => out.push((e.down ? '+' : '-') + e.key));
				p.step({ mapping: %q, axes: [NaN, undefined], buttons: [{ value: NaN, pressed: false }] }, () => {});
				return out;
			})()`, text, c.mapping, c.mapping))
			if len(c.want) == 0 {
				assert.Empty(t, got)
			} else if name == "a hat as an axis" {
				assert.ElementsMatch(t, c.want, got) // the order within one look of a hat means nothing
			} else {
				assert.Equal(t, c.want, got)
			}
		})
	}
	// A browser that knows only pressed.
	got := js[[]string](b, `(async () => {
		const { PadEdges } = await import('/static/pad/edges.js');
		const look = (pressed) => ({ mapping: 'standard', axes: [], buttons: [{ value: 0, pressed }] });
		const out = [];
		const p = new PadEdges(look(false));
		for (const v of [true, false]) p.step(look(v), (e) => out.push((e.down ? '+' : '-') + e.key));
		return out;
	})()`)
	assert.Equal(t, []string{"+south", "-south"}, got)
}

func TestEdgeTime(t *testing.T) {
	b := module(t)
	for _, c := range []struct{ stamp, last, now, want float64 }{
		{996, 900, 1000, 996},   // new and near
		{900, 900, 1000, 1000},  // not new: nothing was heard from the pad
		{800, 700, 1000, 1000},  // too old to be this edge
		{1001, 900, 1000, 1000}, // in the future: on another clock
		{0, 0, 1000, 1000},      // not filled in
	} {
		got := js[float64](b, fmt.Sprintf(`import('/static/pad/edges.js').then((m) => m.edgeTime(%v, %v, %v))`, c.stamp, c.last, c.now))
		assert.Equal(t, c.want, got, "%+v", c)
	}
}

func TestWords(t *testing.T) {
	b := module(t)
	say := func(expr string) string {
		return js[string](b, `(async () => { const m = await import('/static/pad/words.js'); return `+expr+`; })()`)
	}
	const status = `{link: 'open', why: '', blurred: false, supported: true, pads: [], keys: [], boundKeys: ['south', 'key_j'],
		boundCodes: 1, learn: false, pollMean: 2.1, pollWorst: 6, rtt: 0.8, err: 0.5, frameMS: 1000 / 60, missed: {times: 2, ms: 12345}}`
	// 4 ms of a frame of 16.667 ms are 0.24 of it.
	assert.Contains(t, say("m.costWords("+status+").words"), "up to 0.24 of a frame at 60 frames a second")
	assert.Contains(t, say("m.costWords({..."+status+", frameMS: 1001 / 60}).words"), "59.94 frames a second")
	assert.Contains(t, say("m.costWords({..."+status+", pollMean: 12}).words"), "0.72 of a frame at 60 frames a second. This machine is busy")
	assert.Equal(t, "0.8 ms", say("m.roundTripWords("+status+").figure"))
	assert.Contains(t, say("m.roundTripWords("+status+").words"), "±0.5 ms, 0.03 of a frame")
	assert.Equal(t, "hidden 2 times, 12 s in all", say("m.missedWords("+status+")"))
	assert.Contains(t, say("m.readWords("+status+")"), "1 gamepad button and 1 keyboard key.")
	assert.Equal(t, "upper left front · key j · button 12 · axis 3 minus", say("m.downWords(['tl', 'key_j', 'button12', 'axis3_minus'])"))
	assert.Equal(t, "http://h:7/strip?play=1&token=a+b", say("m.stripAddress('http://h:7/pad?token=a%20b&x=1')"))
	assert.Equal(t, "http://h:7/strip?play=1", say("m.stripAddress('http://h:7/pad')"))
	assert.Equal(t, "Invented Pad", say("m.shortName('1234-5678-Invented Pad')"))
	assert.Equal(t, "Invented Pad", say("m.shortName("+pad+")"))
}
