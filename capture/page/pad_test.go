package page

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/capture"
)

type numbers struct{ n uint16 }

func (i *numbers) Next() uint16 { i.n++; return i.n }

type held struct {
	device uint16
	key    string
}

// sink notes what a pad yields and checks what every source promises.
type sink struct {
	t        interface{ Fatalf(string, ...any) }
	ids      numbers
	log      []string
	inputs   []capture.Input
	attached map[uint16]capture.Device
	down     map[held]bool
	last     map[uint16]int64
	warned   map[string]string
}

func newSink(t interface{ Fatalf(string, ...any) }) *sink {
	return &sink{t: t, attached: map[uint16]capture.Device{}, down: map[held]bool{}, last: map[uint16]int64{}, warned: map[string]string{}}
}

func (s *sink) Input(in capture.Input) {
	h := held{in.Device, in.Key}
	switch _, ok := s.attached[in.Device]; {
	case !ok:
		s.t.Fatalf("input of a device that is not attached: %+v", in)
	case s.down[h] == in.Down:
		s.t.Fatalf("repeated state: %+v", in)
	case in.At < s.last[in.Device]:
		s.t.Fatalf("time goes back: %+v after %d", in, s.last[in.Device])
	}
	s.down[h], s.last[in.Device] = in.Down, in.At
	s.inputs = append(s.inputs, in)
	s.log = append(s.log, fmt.Sprintf("%d %s %v", in.Device, in.Key, in.Down))
}

func (s *sink) Attach(d capture.Device) {
	s.attached[d.ID] = d
	s.log = append(s.log, fmt.Sprintf("attach %d %s", d.ID, d.Name))
}

func (s *sink) Detach(id uint16, at int64) {
	if _, ok := s.attached[id]; !ok {
		s.t.Fatalf("detach of %d, which is not attached", id)
	}
	if at < s.last[id] {
		s.t.Fatalf("detach of %d before its last input", id)
	}
	for h, down := range s.down {
		if h.device == id && down {
			s.t.Fatalf("detach of %d while it holds %q", id, h.key)
		}
	}
	delete(s.attached, id)
	s.log = append(s.log, fmt.Sprintf("detach %d", id))
}

func (s *sink) Warn(key, text string) { s.warned[key] = text }

func (s *sink) allUp() {
	for h, down := range s.down {
		if down {
			s.t.Fatalf("%v is still held", h)
		}
	}
	if len(s.attached) > 0 {
		s.t.Fatalf("still attached: %v", s.attached)
	}
}

// rig is a pad that has answered a ping with a round trip of 2 ms; its clock is
// the server's, in ms.
func rig(t *testing.T) (*Pad, *sink) {
	k := newSink(t)
	p := NewPad(k, &k.ids)
	p.Bind(0, []string{"south", "east", "stick_left", "key_j"}, false)
	at := 100 * second
	require.Zero(t, p.PingIn())
	ping := p.Ping(at)
	require.NoError(t, p.Message(at+2*ms, Message{T: "pong", S: ping.S, C: float64(at/ms) + 1.0001}))
	send(t, p, at+3*ms, `{"t":"attach","d":0,"name":"Invented Pad (STANDARD GAMEPAD Vendor: 1234 Product: 5678)","mapping":"standard","poll_ms":4}`)
	send(t, p, at+3*ms, `{"t":"attach","d":15,"name":"Keyboard"}`)
	return p, k
}

func send(t *testing.T, p *Pad, now int64, text string, args ...any) {
	t.Helper()
	m, err := Decode(fmt.Appendf(nil, text, args...))
	require.NoError(t, err)
	require.NoError(t, p.Message(now, m))
}

func TestPressBecomesAnInputAtItsTime(t *testing.T) {
	p, k := rig(t)
	send(t, p, 101*second, `{"t":"key","d":0,"k":"south","down":true,"c":%v}`, 100_990)
	send(t, p, 101*second+70*ms, `{"t":"key","d":0,"k":"south","c":%v}`, 101_060)
	require.Len(t, k.inputs, 2)
	bound, rtt := p.Error(101*second + 70*ms)
	assert.Equal(t, 2*ms, rtt)
	assert.Less(t, bound, 13*ms/10)
	assert.InDelta(t, float64(100_990*ms), float64(k.inputs[0].At), float64(bound))
	assert.InDelta(t, float64(70*ms), float64(k.inputs[1].At-k.inputs[0].At), 0.1e6)
	assert.Equal(t, "south", k.inputs[0].Key)

	d := k.attached[1]
	assert.Equal(t, "Invented Pad", d.Name)
	assert.Equal(t, "page", d.Source)
	assert.Contains(t, d.Identity, "Vendor: 1234")
	assert.Equal(t, 4.0, d.ReportMS)
	assert.False(t, d.Keyboard)
	assert.True(t, k.attached[2].Keyboard)
}

func TestReleases(t *testing.T) {
	press := func(t *testing.T) (*Pad, *sink) {
		p, k := rig(t)
		send(t, p, 101*second, `{"t":"key","d":0,"k":"south","down":true,"c":100999}`)
		send(t, p, 101*second, `{"t":"key","d":15,"k":"key_j","down":true,"c":100999}`)
		k.log = nil
		return p, k
	}
	at := 102 * second
	t.Run("blur lets go of the keyboard", func(t *testing.T) {
		p, k := press(t)
		send(t, p, at, `{"t":"release","c":101998,"why":"blur"}`)
		assert.Equal(t, []string{"2 key_j false"}, k.log)
		assert.InDelta(t, float64(101_998*ms), float64(k.inputs[2].At), 1.3e6)
	})
	t.Run("hide lets go of everything and says so", func(t *testing.T) {
		p, k := press(t)
		send(t, p, at, `{"t":"release","c":101998,"why":"hide"}`)
		assert.Equal(t, []string{"1 south false", "2 key_j false"}, k.log)
		assert.Contains(t, k.warned["page-hidden-1"], "play=1")
		send(t, p, at+second, `{"t":"key","d":0,"k":"south","down":true,"c":102998}`)
		assert.Empty(t, k.warned["page-hidden-1"])
	})
	t.Run("leave lets go without a warning", func(t *testing.T) {
		p, k := press(t)
		send(t, p, at, `{"t":"release","c":101998,"why":"leave"}`)
		assert.Len(t, k.log, 2)
		assert.Empty(t, k.warned)
	})
	t.Run("detach lets go of that device", func(t *testing.T) {
		p, k := press(t)
		send(t, p, at, `{"t":"detach","d":0,"c":101998}`)
		assert.Equal(t, []string{"1 south false", "detach 1"}, k.log)
		send(t, p, at+second, `{"t":"attach","d":0,"name":"Again"}`)
		assert.Equal(t, "Again", k.attached[1].Name, "a device that comes back keeps its number")
	})
	t.Run("the end of the connection lets go of everything", func(t *testing.T) {
		p, k := press(t)
		p.Close(at)
		assert.Equal(t, []string{"1 south false", "detach 1", "2 key_j false", "detach 2"}, k.log)
		assert.Equal(t, at, k.inputs[2].At)
		k.allUp()
		assert.ErrorContains(t, p.Message(at, Message{T: "release", Why: "blur"}), "after the end")
		p.Close(at)
		assert.Zero(t, p.Lag())
	})
	t.Run("an unbound key is let go", func(t *testing.T) {
		p, k := press(t)
		p.Bind(at, []string{"south"}, false)
		assert.Equal(t, []string{"2 key_j false"}, k.log)
	})
}

func TestOnlyBoundKeysCount(t *testing.T) {
	p, k := rig(t)
	n := len(k.log)
	send(t, p, 101*second, `{"t":"key","d":0,"k":"north","down":true,"c":100999}`)
	send(t, p, 101*second, `{"t":"key","d":15,"k":"key_p","down":true,"c":100999}`)
	assert.Len(t, k.log, n)

	b := p.Bind(101*second, []string{"south", "key_j"}, true)
	assert.Equal(t, Bound{T: "bound", Keys: []string{"south", "key_j"}, Codes: map[string]string{"KeyJ": "key_j"}, Learn: true}, b)
	send(t, p, 101*second, `{"t":"key","d":0,"k":"north","down":true,"c":100999}`)
	send(t, p, 101*second, `{"t":"key","d":15,"k":"key_p","down":true,"c":100999}`)
	assert.Equal(t, []string{"1 north true"}, k.log[n:], "learning takes gamepads' keys, never a keyboard's")
}

func TestProtocolErrors(t *testing.T) {
	p, _ := rig(t)
	at := 101 * second
	for _, c := range []struct {
		m    Message
		want string
	}{
		{Message{T: "key", D: 3, K: "south", Down: true, C: 1}, `key "south" is of device 3, which is not attached`},
		{Message{T: "detach", D: 3, C: 1}, "device 3 cannot be detached"},
		{Message{T: "pong", S: 17, C: 1}, "pong 17 answers no ping"},
		{Message{T: "key", D: 99, K: "south"}, "device 99"},
		{Message{T: "key", K: "sowth"}, `unknown key "sowth"`},
	} {
		assert.ErrorContains(t, p.Message(at, c.m), c.want)
	}
	ping := p.Ping(at)
	pong := Message{T: "pong", S: ping.S, C: float64(at / ms)}
	require.NoError(t, p.Message(at+ms, pong))
	assert.ErrorContains(t, p.Message(at+ms, pong), "answers no ping", "a ping is answered once")
}

func TestTooManyMessages(t *testing.T) {
	p, k := rig(t)
	at := 101 * second
	n := 0
	for ; n < 100*MaxBurst; n++ {
		at += ms / 10
		if err := p.Message(at, Message{T: "key", K: "south", Down: n%2 == 0, C: float64(at / ms)}); err != nil {
			assert.ErrorContains(t, err, "more than 500 messages a second")
			break
		}
	}
	assert.InDelta(t, MaxBurst*1.05, n, 20)
	p.Close(at)
	k.allUp()

	p, _ = rig(t)
	at = 101 * second
	for i := range 20 * MaxRate { // 20 s at just the greatest rate
		at += second / MaxRate
		require.NoError(t, p.Message(at, Message{T: "key", K: "south", Down: i%2 == 0, C: float64(at / ms)}))
	}
}

func TestDevicesDoNotUseUpNumbers(t *testing.T) {
	p, k := rig(t)
	at := 101 * second
	for i := range 5000 {
		at += 10 * ms
		send(t, p, at, `{"t":"attach","d":%d,"name":"Pad"}`, i%15)
		send(t, p, at, `{"t":"detach","d":%d,"c":1}`, i%15)
	}
	assert.LessOrEqual(t, int(k.ids.n), MaxDevices)
}

func TestLag(t *testing.T) {
	k := newSink(t)
	p := NewPad(k, &k.ids)
	assert.Zero(t, p.Lag(), "nothing is attached")
	p.Bind(0, []string{"south"}, false)
	send(t, p, second, `{"t":"attach","name":"Pad","poll_ms":4}`)
	assert.Equal(t, defaultLag+4*ms, p.Lag(), "no ping is answered yet")
	ping := p.Ping(100 * second)
	send(t, p, 100*second+10*ms, `{"t":"pong","s":%v,"c":%v}`, ping.S, 100_005.5)
	assert.Equal(t, 5*ms+4*ms, p.Lag(), "half a round trip and the poll interval")

	at := 101 * second
	send(t, p, at, `{"t":"key","k":"south","down":true,"c":%v}`, float64((at-60*ms)/ms))
	assert.InDelta(t, float64(60*ms), float64(p.Lag()), 2e6, "as late as one came")
	assert.Empty(t, k.warned["page-late-1"])
	at += second
	send(t, p, at, `{"t":"key","k":"south","c":%v}`, float64((at-800*ms)/ms))
	assert.Equal(t, MaxLag, p.Lag())
	assert.Contains(t, k.warned["page-late-1"], "up to 800 ms late")
	at += second
	send(t, p, at, `{"t":"key","k":"south","down":true,"c":1}`)
	assert.GreaterOrEqual(t, k.inputs[len(k.inputs)-1].At, at-MaxAge, "no edge is older than MaxAge")
	for range 12 {
		at += second
		ping := p.Ping(at)
		send(t, p, at+10*ms, `{"t":"pong","s":%v,"c":%v}`, ping.S, float64(at/ms)+5.5)
	}
	assert.Equal(t, 9*ms, p.Lag(), "late edges are forgotten")
	assert.Empty(t, k.warned["page-late-1"])
}

func TestPingsAreToldApart(t *testing.T) {
	k := newSink(t)
	p := NewPad(k, &k.ids)
	seen := map[float64]bool{}
	for range 200 { // never answered: the oldest are given up
		s := p.Ping(0).S
		require.NotZero(t, s)
		seen[s] = true
	}
	assert.LessOrEqual(t, len(p.open), maxOpen)
	assert.Equal(t, time.Second, p.PingIn())
}

func TestShortNames(t *testing.T) {
	for id, want := range map[string]string{
		"Invented Pad (STANDARD GAMEPAD Vendor: 1234 Product: 5678)": "Invented Pad",
		"Invented Pad (Vendor: 1234 Product: 5678)":                  "Invented Pad",
		"1234-5678-Invented Pad":                                     "Invented Pad",
		"Invented Pad (left)":                                        "Invented Pad (left)",
		"1234-5678-":                                                 "1234-5678-",
	} {
		assert.Equal(t, want, shortName(id))
	}
}

// Whatever a pad sends, with whatever clock, the promises of capture.Sink hold
// (the sink checks them), no input lies in the future, and in the end nothing is
// held.
func TestPromisesHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := newSink(t)
		p := NewPad(k, &k.ids)
		now := int64(0)
		var open []Ping
		for range rapid.IntRange(1, 150).Draw(t, "steps") {
			now += rapid.Int64Range(-ms, 400*ms).Draw(t, "dt")
			c := rapid.OneOf(rapid.Float64Range(0, maxClock), rapid.Just(max(0, float64(now)/1e6))).Draw(t, "c")
			m := Message{
				T: rapid.SampledFrom([]string{"attach", "key", "key", "key", "detach", "release", "pong", "bind", "ping"}).Draw(t, "t"),
				D: rapid.SampledFrom([]int{0, 1, 15}).Draw(t, "d"), C: c,
			}
			switch m.T {
			case "bind":
				keys := rapid.SliceOfDistinct(rapid.SampledFrom([]string{"south", "east", "key_j", "key_k"}), rapid.ID[string]).Draw(t, "keys")
				p.Bind(now, keys, rapid.Bool().Draw(t, "learn"))
				continue
			case "ping":
				open = append(open, p.Ping(now))
				continue
			case "pong":
				m.D = 0
				if len(open) == 0 {
					continue
				}
				m.S, open = open[0].S, open[1:]
			case "attach":
				m.C, m.Name = 0, "Pad"
			case "key":
				m.Down = rapid.Bool().Draw(t, "down")
				m.K = rapid.SampledFrom([]string{"south", "east"}).Draw(t, "k")
				if m.D == Keyboard {
					m.K = rapid.SampledFrom([]string{"key_j", "key_k"}).Draw(t, "k")
				}
			case "release":
				m.D, m.Why = 0, rapid.SampledFrom([]string{"blur", "hide", "leave"}).Draw(t, "why")
			}
			n := len(k.inputs)
			err := p.Message(now, m)
			if err != nil && !strings.Contains(err.Error(), "attached") && !strings.Contains(err.Error(), "answers no ping") {
				t.Fatalf("%+v: %v", m, err)
			}
			for _, in := range k.inputs[n:] {
				if in.At > p.now || in.At < p.now-MaxAge {
					t.Fatalf("at %d: %+v", p.now, in)
				}
			}
			if p.Lag() > MaxLag {
				t.Fatalf("lag %d", p.Lag())
			}
		}
		p.Close(now)
		k.allUp()
	})
}

func BenchmarkMessage(b *testing.B) {
	k := newSink(b)
	p := NewPad(discard{}, &k.ids)
	p.Bind(0, []string{"south"}, false)
	if err := p.Message(0, Message{T: "attach", Name: "Pad"}); err != nil {
		b.Fatal(err)
	}
	text := []byte(`{"t":"key","d":0,"k":"south","down":true,"c":1234.5}`)
	now := int64(0)
	for i := 0; b.Loop(); i++ {
		m, err := Decode(text)
		if err != nil {
			b.Fatal(err)
		}
		now += 10 * ms
		m.Down = i%2 == 0
		if err := p.Message(now, m); err != nil {
			b.Fatal(err)
		}
	}
}

type discard struct{}

func (discard) Input(capture.Input)   {}
func (discard) Attach(capture.Device) {}
func (discard) Detach(uint16, int64)  {}
func (discard) Warn(string, string)   {}
