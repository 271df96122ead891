package desktest

import (
	"testing"

	"github.com/stretchr/testify/require"
)

const pad = `"Invented Pad (STANDARD GAMEPAD Vendor: 1234 Product: 5678)"`

// From a first start to a bound three-button pad, a target from frame data and a
// running strip, clicking what a person would click.
func TestFirstStart(t *testing.T) {
	p := start(t, options{})
	b := ready(t, p)
	b.says("First steps")
	b.says("Plug it in and press any button")

	b.do("plug(0, " + pad + ", 'standard')")
	b.says("This browser sees Invented Pad")
	b.click("#guide-here")
	b.says("Reading Invented Pad")
	b.do("wait(1200).then(() => tap(0, 0))")
	b.says("It hears Invented Pad")

	b.click("#guide-bind")
	b.says("Press the buttons you use")
	b.do("tap(0, 2)")
	b.says("west added")
	b.do("tap(0, 0)")
	b.says("south added")
	b.do("tap(0, 0)")
	b.says("south is south already")
	b.do("tap(0, 1)")
	b.says("east added")
	b.do("tap(0, 12)")
	b.says("up is up already")
	b.clickText("Done")
	b.until("!document.getElementById('bind').open")
	b.fill("#label-4", "light")
	b.until("document.getElementById('label-4').getAttribute('value') === 'light'")
	own := p.current().Buttons
	var labels []string
	for _, x := range own {
		labels = append(labels, x.Label)
	}
	require.Equal(t, []string{"up", "down", "left", "right", "light", "south", "east"}, labels)
	require.Equal(t, []string{"west"}, own[4].Keys)

	b.click("#guide-target")
	b.until("document.getElementById('t-name')")
	b.fill("#t-advantage", "10")
	b.fill("#t-startup", "8")
	// Common practice, no source: on hit +10, startup 8, counting the first active
	// frame, leaves three frames; a double press with spacing 3 covers six starts.
	b.says("Window 3 frames.")
	b.says("2 presses with spacing 3 (suggested) cover 6 starts.")
	b.choose("#t-button", "light")
	b.until("document.querySelectorAll('#cover svg .run-text').length === 1")
	b.until("document.querySelector('#cover .run-text').textContent === '6'")
	require.Equal(t, "My link", p.current().Target)
	b.until("document.getElementById('t-button').value === 'light'")

	strip := open(t, b.browser, p.url+"/strip")
	strip.until("holdgap.state.setup && holdgap.state.setup.window === 3 && holdgap.state.setup.target === 'My link'")
	strip.until("holdgap.state.setup.buttons.length === 7")
	b.until("document.getElementById('guide').hidden")
	b.do("(async () => { set(0, 2, 1); await wait(17); set(0, 2, 0); await wait(33); set(0, 2, 1); await wait(20); set(0, 2, 0); })()")
	strip.until("holdgap.state.multis.length > 0 && holdgap.state.presses.every((x) => x.b === 4)")
}
