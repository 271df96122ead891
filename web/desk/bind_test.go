package desk_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/web/desk"
)

func bound(s desk.State) bool { return s.Binding != nil && !s.Binding.Active }

func said(part string) func(desk.State) bool {
	return func(s desk.State) bool { return s.Binding != nil && strings.Contains(s.Binding.Said, part) }
}

func (r *rig) keys(label string) []string {
	l := r.profile().Layout()
	if i := l.Index(label); i >= 0 {
		return l.Buttons[i].Keys
	}
	return nil
}

func TestBindNewButtons(t *testing.T) {
	r := start(t, nil)
	c := r.socket()
	r.do(`{"do":"bind","desk":"a","profile":"everything"}`)
	require.True(t, <-r.learn)
	require.True(t, r.engine.Learning(), "pads send unbound keys while a button is being bound")
	r.until(c, said("No controller is there yet"))
	r.plug(1, "Invented Pad")
	r.until(c, said("Invented Pad is there"))
	r.press(1, "button9")
	r.until(c, said("button 9 added"))
	r.press(1, "south")
	r.until(c, said("south added"))
	r.press(1, "south")
	r.until(c, said("south is south already"))
	r.press(1, "stick_up")
	r.until(c, said("stick up is up already"))
	r.do(`{"do":"bindkey","desk":"a","code":"KeyJ"}`)
	r.until(c, said("key j added"))
	r.do(`{"do":"unbind","desk":"a"}`)
	require.False(t, <-r.learn)
	require.False(t, r.engine.Learning())
	var labels []string
	for _, b := range r.profile().Buttons {
		labels = append(labels, b.Label)
	}
	require.Equal(t, []string{"up", "down", "left", "right", "button 9", "south", "key j"}, labels)
	require.Equal(t, []string{"key_j"}, r.keys("key j"))
	r.press(1, "east")
	r.do(`{"do":"leave","desk":"a"}`)
	require.Len(t, r.profile().Buttons, 7, "nothing is bound once it is over")
}

// Several keys are one button; a key of another button is asked about.
func TestBindConflict(t *testing.T) {
	r := start(t, nil)
	c := r.socket()
	r.plug(1, "Invented Pad")
	r.do(`{"do":"bind","desk":"a","profile":"everything","button":"south"}`)
	r.press(1, "stick2_up")
	r.until(c, bound)
	require.Equal(t, []string{"south", "stick2_up"}, r.keys("south"))

	r.do(`{"do":"bind","desk":"a","profile":"everything","button":"south"}`)
	r.press(1, "east")
	s := r.until(c, func(s desk.State) bool { return s.Binding != nil && s.Binding.Asks != nil })
	require.Equal(t, desk.Asked{Key: "east", Owner: "east"}, *s.Binding.Asks)
	r.press(1, "west") // waits for the answer
	r.do(`{"do":"leave","desk":"a"}`)
	r.until(c, said("Left as it was"))
	require.Equal(t, []string{"east"}, r.keys("east"))
	r.press(1, "east")
	r.until(c, func(s desk.State) bool { return s.Binding.Asks != nil })
	r.do(`{"do":"move","desk":"a"}`)
	r.until(c, bound)
	require.Equal(t, []string{"south", "stick2_up", "east"}, r.keys("south"))
	require.Empty(t, r.keys("east"))
	require.Equal(t, []string{"west"}, r.keys("west"))
	r.do(`{"do":"undo","desk":"a"}`)
	require.Equal(t, []string{"east"}, r.keys("east"))
}

// A device that vanishes while it is being bound: said, nothing lost.
func TestBindVanishingDevice(t *testing.T) {
	r := start(t, nil)
	c := r.socket()
	r.plug(1, "Invented Pad")
	r.do(`{"do":"bind","desk":"a","profile":"everything"}`)
	r.press(1, "south")
	r.until(c, said("south added"))
	r.engine.Detach(1, 5)
	s := r.until(c, said("Invented Pad is gone"))
	require.True(t, s.Binding.Active)
	require.Equal(t, []string{"south"}, r.keys("south"), "what was bound stays")
	r.plug(2, "Invented Pad")
	r.until(c, said("is there"))
	r.press(2, "east")
	r.until(c, said("east added"))
	require.NotNil(t, r.keys("east"))
}

// What the performer plays, and what is held already, binds nothing.
func TestBindHearsOnlyPresses(t *testing.T) {
	r := start(t, nil)
	c := r.socket()
	r.plug(1, "Invented Pad")
	r.engine.Input(capture.Input{At: 1, Device: 1, Key: "west", Down: true})
	r.engine.Attach(capture.Device{ID: 9, Name: "Performer", Source: "demo"})
	r.do(`{"do":"bind","desk":"a","profile":"everything"}`)
	r.engine.Input(capture.Input{At: 2, Device: 9, Key: "north", Down: true})
	r.engine.Input(capture.Input{At: 3, Device: 1, Key: "west", Down: true}) // a repeat
	r.engine.Input(capture.Input{At: 4, Device: 1, Key: "west"})
	r.press(1, "south")
	r.until(c, said("south added"))
	require.Len(t, r.profile().Buttons, 5)
}

// Another desk that binds takes over, and the first is told.
func TestBindOnTwoDesks(t *testing.T) {
	r := start(t, nil)
	c := r.socket()
	r.plug(1, "Invented Pad")
	r.do(`{"do":"bind","desk":"a","profile":"everything","button":"south"}`)
	r.do(`{"do":"bind","desk":"b","profile":"everything","button":"east"}`)
	s := r.until(c, said("Another desk was binding"))
	require.Equal(t, "b", s.Binding.Desk)
	r.press(1, "stick2_up")
	r.until(c, bound)
	require.Equal(t, []string{"east", "stick2_up"}, r.keys("east"))
	require.Equal(t, []string{"south"}, r.keys("south"))
}

func TestDevicesLive(t *testing.T) {
	r := start(t, nil)
	c := r.socket()
	r.plug(1, "Invented Pad")
	r.do(`{"do":"label","desk":"a","profile":"everything","button":"south","to":"light"}`)
	r.engine.Input(capture.Input{At: 1, Device: 1, Key: "south", Down: true})
	r.engine.Input(capture.Input{At: 2, Device: 1, Key: "stick2_up", Down: true})
	s := r.until(c, func(s desk.State) bool { return len(s.Devices) == 1 && len(s.Devices[0].Down) == 2 })
	require.Equal(t, []desk.Key{{Key: "south", Label: "light"}, {Key: "stick2_up"}}, s.Devices[0].Down)
	require.False(t, r.engine.Learning(), "looking asks for no unbound key")
	r.engine.Input(capture.Input{At: 3, Device: 1, Key: "south"})
	r.until(c, func(s desk.State) bool { return len(s.Devices[0].Down) == 1 })
	r.do(`{"do":"pause","desk":"a","on":true}`)
	s = r.until(c, func(s desk.State) bool { return s.Paused })
	require.Empty(t, s.Devices[0].Down, "hands off: nothing is shown")
}
