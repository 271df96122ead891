package padtest

import (
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	ms  = 1_000_000
	pad = `"Invented Pad (STANDARD GAMEPAD Vendor: 1234 Product: 5678)"`
)

var bound = []string{"south", "west", "tr2", "stick_left", "up", "key_j", "key_space", "button12", "axis2_plus"}

// plugged returns a page that reads a pad and is connected.
func plugged(t *testing.T) (*program, *tab) {
	p := start(t, bound...)
	b := open(t, p.url+"/pad")
	b.do("plug(0, " + pad + ", 'standard')")
	p.event("attach Invented Pad")
	b.says("Reading Invented Pad")
	return p, b
}

func TestPressArrivesWithItsTime(t *testing.T) {
	p, b := plugged(t)
	for range 5 {
		before := p.now()
		stamp := js[[]float64](b, `(async () => {
			const down = set(0, 0, 1);
			await wait(60);
			return [down, set(0, 0, 0)];
		})()`)
		after := p.now()
		in := p.expect("+south", "-south")
		// The clocks' relation is known to about half a round trip on this machine.
		const slack = 3 * ms
		assert.GreaterOrEqual(t, in[0].At, before-slack)
		assert.LessOrEqual(t, in[0].At, after-60*ms+slack)
		assert.LessOrEqual(t, in[1].At, after+slack)
		// The hold is the page's own, but for the grain of its clock.
		assert.InDelta(t, (stamp[1]-stamp[0])*ms, float64(in[1].At-in[0].At), 0.3*ms)
	}
	b.says("Down right now")
	b.do("set(0, 2, 1)")
	p.expect("+west")
	b.until("document.getElementById('down').textContent === 'west'")
	b.do("set(0, 2, 0)")
	b.until("document.getElementById('down').textContent === 'nothing'")
}

func TestTriggersAndSticksHaveHysteresis(t *testing.T) {
	p, b := plugged(t)
	for _, v := range []string{"0.2", "0.3", "0.2", "0.24", "0.3", "0.1"} {
		b.do("set(0, 7, " + v + "), wait(20)")
	}
	p.expect("+tr2", "-tr2")
	for _, v := range []string{"-0.45", "-0.55", "-0.45", "-0.55", "-0.3", "0"} {
		b.do("tilt(0, 0, " + v + "), wait(20)")
	}
	p.expect("+stick_left", "-stick_left")
	b.do("set(0, 12, 1)")
	p.expect("+up")
	assert.Empty(t, p.inputs)
}

func TestUnboundKeysAreNeverSent(t *testing.T) {
	p, b := plugged(t)
	b.do("set(0, 1, 1)") // east
	b.do("set(0, 1, 0), wait(30)")
	b.key(input.DispatchKeyEventTypeRawKeyDown, "KeyP", "p", false)
	b.key(input.DispatchKeyEventTypeKeyUp, "KeyP", "p", false)
	b.key(input.DispatchKeyEventTypeRawKeyDown, "KeyJ", "j", false)
	p.expect("+key_j")
	b.key(input.DispatchKeyEventTypeKeyUp, "KeyJ", "j", false)
	p.expect("-key_j")
	assert.Equal(t, map[string]bool{"key_j": true}, p.keyMessages())
	assert.False(t, p.everSaid("key_p"))
	assert.False(t, p.everSaid("KeyP"))
	assert.False(t, p.everSaid("east"))

	// While a button is bound by pressing, the pad's keys come, the keyboard's do not.
	p.bind(true, bound...)
	b.says("being bound by pressing")
	b.do("set(0, 1, 1)")
	p.expect("+east")
	b.key(input.DispatchKeyEventTypeRawKeyDown, "KeyP", "p", false)
	p.bind(false, bound...)
	p.expect("-east")
	b.until("!document.body.innerText.includes('being bound by pressing')")
	b.do("set(0, 1, 0), wait(30)")
	b.do("set(0, 0, 1)")
	p.expect("+south")
	assert.False(t, p.everSaid("key_p"))
}

func TestKeyboard(t *testing.T) {
	p := start(t, bound...)
	b := open(t, p.url+"/pad")
	p.event("attach Keyboard in the browser")
	b.says("Reading the keyboard")
	before := p.now()
	b.key(input.DispatchKeyEventTypeRawKeyDown, "KeyJ", "j", false)
	for range 5 {
		b.key(input.DispatchKeyEventTypeRawKeyDown, "KeyJ", "j", true)
	}
	in := p.expect("+key_j")
	assert.InDelta(t, float64(before), float64(in[0].At), 500*ms)
	b.until("document.getElementById('down').textContent === 'key j'")

	b.do("window.dispatchEvent(new Event('blur'))")
	p.expect("-key_j")
	b.key(input.DispatchKeyEventTypeKeyUp, "KeyJ", "j", false)
	b.key(input.DispatchKeyEventTypeRawKeyDown, "Space", " ", false)
	b.key(input.DispatchKeyEventTypeKeyUp, "Space", " ", false)
	p.expect("+key_space", "-key_space")
	assert.Empty(t, p.inputs, "repeats and the release after the blur count for nothing")

	// A bound key works what has the focus as ever.
	b.do("document.getElementById('stop').focus()")
	b.key(input.DispatchKeyEventTypeRawKeyDown, "Space", " ", false)
	b.key(input.DispatchKeyEventTypeKeyUp, "Space", " ", false)
	b.says("Not reading")
}

func TestBlurKeepsTheGamepad(t *testing.T) {
	p, b := plugged(t)
	b.do("set(0, 0, 1)")
	p.expect("+south")
	b.do("window.dispatchEvent(new Event('blur'))")
	b.do("set(0, 0, 0)")
	p.expect("-south")
}

// A page out of sight lets go, says so to the program, and tells afterwards what
// was missed. What is held on coming back counts from the next press.
func TestHideReleases(t *testing.T) {
	p, b := plugged(t)
	b.do("set(0, 0, 1)")
	p.expect("+south")
	b.do(`(() => {
		Object.defineProperty(document, 'hidden', { value: true, configurable: true });
		document.dispatchEvent(new Event('visibilitychange'));
	})()`)
	p.expect("-south")
	b.do("set(0, 2, 1), wait(30)")
	require.Empty(t, p.inputs, "nothing is read while hidden")
	p.mu.Lock()
	warned := p.warned
	p.mu.Unlock()
	require.Len(t, warned, 1)
	b.do(`(() => {
		delete document.hidden;
		document.dispatchEvent(new Event('visibilitychange'));
	})()`)
	b.says("hidden once")
	b.do("wait(30)")
	require.Empty(t, p.inputs)
	b.do("set(0, 0, 0), wait(20)")
	b.do("set(0, 0, 1)")
	p.expect("+south")
}

func TestHeldAtTheFirstLookDoesNotCount(t *testing.T) {
	p := start(t, bound...)
	b := open(t, p.url+"/pad")
	b.says("A gamepad shows up once a button on it is pressed")
	b.do("plug(0, " + pad + ", 'standard'), set(0, 0, 1)")
	p.event("attach Invented Pad")
	b.do("wait(30)")
	b.do("set(0, 0, 0), wait(20)")
	require.Empty(t, p.inputs)
	b.do("set(0, 0, 1)")
	p.expect("+south")
}

func TestUnplugReleasesAndReplugResumes(t *testing.T) {
	p, b := plugged(t)
	b.do("set(0, 0, 1)")
	p.expect("+south")
	b.do("unplug(0)")
	p.expect("-south")
	p.event("detach")
	b.says("A gamepad shows up once a button on it is pressed")
	b.do("plug(0, 'Other Pad', '')")
	p.event("attach Other Pad")
	b.says("does not know this pad’s layout")
	b.do("set(0, 12, 1)")
	p.expect("+button12")
	b.do("tilt(0, 2, 0.9)")
	p.expect("+axis2_plus")
}

func TestTwoPads(t *testing.T) {
	p, b := plugged(t)
	b.do("plug(2, 'Second Pad', 'standard')")
	p.event("attach Second Pad")
	b.do("set(0, 0, 1)")
	one := p.expect("+south")
	b.do("set(2, 0, 1)")
	two := p.expect("+south")
	assert.NotEqual(t, one[0].Device, two[0].Device)
}

func TestReconnectsByItself(t *testing.T) {
	p, b := plugged(t)
	b.do("set(0, 0, 1)")
	p.expect("+south")
	p.hangUp()
	p.expect("-south")
	p.event("detach")
	p.event("attach Invented Pad")
	b.says("Reading Invented Pad")
	b.do("wait(50)")
	require.Empty(t, p.inputs, "what is still held does not count again")
	b.do("set(0, 0, 0), wait(20)")
	b.do("set(0, 0, 1)")
	p.expect("+south")
}

func TestRefusalIsShownInWords(t *testing.T) {
	p := start(t, bound...)
	p.refuse = "this page may not play: open the address that the desk shows"
	b := open(t, p.url+"/pad")
	b.says("It says: this page may not play")
}

func TestStopAndReadAgain(t *testing.T) {
	p, b := plugged(t)
	b.do("set(0, 0, 1)")
	p.expect("+south")
	b.do("document.getElementById('stop').click()")
	p.expect("-south")
	b.says("Not reading")
	b.do("document.getElementById('stop').click()")
	b.says("Reading Invented Pad")
	b.do("set(0, 0, 0), wait(20)")
	b.do("set(0, 0, 1)")
	p.expect("+south")
}

// Capture needs neither a click nor a page of its own: the strip with play=1 does
// just this inside a browser source.
func TestCaptureInABarePage(t *testing.T) {
	p := start(t, bound...)
	b := open(t, p.url+"/bare")
	b.until("window.last && last.link === 'open'")
	assert.Empty(t, js[string](b, "trouble"), "keyboard keys are bound and read")
	p.bind(false, "south")
	b.until("trouble === 'press any button on the gamepad'")
	b.do("plug(0, " + pad + ", 'standard')")
	p.event("attach Invented Pad")
	b.do("set(0, 0, 1)")
	p.expect("+south")
	b.until("trouble === ''")
	b.do("running.stop()")
	p.expect("-south")
	assert.Equal(t, "stopped", js[string](b, "last.link"))
}

// What the page says about its cost is what it measured.
func TestSaysWhatItCosts(t *testing.T) {
	b := open(t, start(t, bound...).url+"/bare")
	b.until("window.last && last.pollMean > 0 && last.rtt > 0")
	mean := js[float64](b, "last.pollMean")
	t.Logf("looks every %.2f ms, at worst %.2f; round trip %.2f ms ± %.2f", mean,
		js[float64](b, "last.pollWorst"), js[float64](b, "last.rtt"), js[float64](b, "last.err"))
	assert.Greater(t, mean, 0.5)
	assert.Less(t, mean, 50.0, "even on a busy machine")
}
