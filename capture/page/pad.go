// Package page is the program's side of playing from a browser: what a pad page
// sends (decoded by [Decode]) becomes inputs of a [capture.Sink].
//
// A connection owns one [Pad] and gives it every message with the time at which
// it came; the pad relates the browser's clock to the monotonic clock by pings
// ([Relation]) and lets go of everything that is held when the page loses the
// focus, is hidden or leaves, when the gamepad goes, or when the connection ends.
// The package has no clock, no goroutine and does no I/O.
//
// # The messages of /wire/pad
//
// They are JSON text over a WebSocket. The server sends [Bound]s and [Ping]s; the
// page answers with [Pong]s and sends other [Message]s. Anything else, or more
// than [MaxMessage] bytes, ends the connection with a close reason in words.
//
// # Driving a pad
//
// After accepting, send the message that [Pad.Bind] returns. Then send
// [Pad.Ping] whenever [Pad.PingIn] has passed since the last one, pass every
// message through [Decode] to [Pad.Message], and when either gives an error
// close the connection with [Reason] and call [Pad.Close]; call that in any case
// when the connection ends. The page waits with keys
// until it has answered the first few pings.
package page

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"holdgap/capture"
)

// Limits and times of a pad.
const (
	// MaxRate is the greatest number of messages a second over a few seconds.
	MaxRate = 500
	// MaxBurst is the greatest number of messages that may come at once, as
	// after a network that stood still.
	MaxBurst = 1000
	// MaxLag is the greatest Lag in ns: who plays over a worse network is told so.
	MaxLag = int64(250 * time.Millisecond)
	// MaxAge is how old in ns an edge may be when it comes; an older one is
	// taken to be this old.
	MaxAge = int64(2 * time.Second)

	firstPings = 8 // pad/link.js waits with keys until it has answered six
	firstEvery = 25 * time.Millisecond
	pingEvery  = time.Second
	maxOpen    = 32                     // pings without an answer yet
	lateSpan   = int64(5 * time.Second) // for how long at least a late edge is remembered
	defaultLag = int64(50 * time.Millisecond)
)

// Pad turns one connection's messages into inputs. Its methods may be called
// from several goroutines. Times are ns on the monotonic clock; one that lies
// before an earlier one is taken to be that one.
type Pad struct {
	mu     sync.Mutex
	sink   capture.Sink
	ids    capture.IDs
	now    int64
	closed bool

	rel   Relation
	pings int               // sent so far
	open  map[float64]int64 // ping's S → when it was sent

	bound   map[string]bool
	learn   bool
	devices [MaxDevices]device

	first    uint16 // number of the device attached first: makes the troubles the pad's own
	numbered bool   // there is one

	tokens   float64  // messages that may come at once
	late     [2]int64 // greatest lateness in this span and the one before
	spanEnd  int64
	troubles map[string]string // kind → text as last warned of
}

type device struct {
	id       uint16
	numbered bool // id was handed out; it is kept when the device comes back
	attached bool
	pollNS   int64
	last     int64 // ns: time of its last input
	held     []string
}

// NewPad returns the pad of a connection. Each of its devices takes a number
// from ids when it is first attached.
func NewPad(sink capture.Sink, ids capture.IDs) *Pad {
	return &Pad{
		sink: sink, ids: ids,
		open: map[float64]int64{}, bound: map[string]bool{}, troubles: map[string]string{},
		tokens: MaxBurst,
	}
}

// Bind sets which keys count and returns the message that tells the page. What is
// held and not bound any more is let go. With learn, every key of a gamepad
// counts too, so that a button can be bound by pressing; never one of a keyboard.
// The caller may add the length of a frame before sending it.
func (p *Pad) Bind(now int64, keys []string, learn bool) Bound {
	p.mu.Lock()
	defer p.mu.Unlock()
	now = p.tick(now)
	b := Bound{T: "bound", Keys: slices.Clone(keys), Learn: learn}
	p.bound, p.learn = make(map[string]bool, len(keys)), learn
	for _, k := range keys {
		p.bound[k] = true
		if code, ok := capture.WebCode(k); ok {
			if b.Codes == nil {
				b.Codes = map[string]string{}
			}
			b.Codes[code] = k
		}
	}
	if b.Keys == nil {
		b.Keys = []string{}
	}
	for i := range p.devices {
		d := &p.devices[i]
		for j := len(d.held) - 1; j >= 0; j-- {
			if !p.counts(i, d.held[j]) {
				p.up(d, d.held[j], now)
			}
		}
	}
	return b
}

func (p *Pad) counts(d int, key string) bool { return p.bound[key] || p.learn && d != Keyboard }

// PingIn returns how long to wait before the next ping: the first ones come
// quickly, so that the clocks are related before the first press.
func (p *Pad) PingIn() time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.pings == 0:
		return 0
	case p.pings < firstPings:
		return firstEvery
	}
	return pingEvery
}

// Ping returns a ping to send at now.
func (p *Pad) Ping(now int64) Ping {
	p.mu.Lock()
	defer p.mu.Unlock()
	now = p.tick(now)
	p.pings++
	s := float64(now) / nsPerMilli
	for _, taken := p.open[s]; taken || s == 0; _, taken = p.open[s] {
		s += 0.001 // two pings in one instant must be told apart
	}
	if len(p.open) >= maxOpen { // the oldest has been lost
		oldest, at := 0.0, now+1
		for k, v := range p.open {
			if v < at {
				oldest, at = k, v
			}
		}
		delete(p.open, oldest)
	}
	p.open[s] = now
	return Ping{
		T: "ping", S: s,
		RTT: float64(p.rel.RTT()) / nsPerMilli,
		Err: float64(p.rel.Bound(now)) / nsPerMilli,
	}
}

// Message takes a message that came at now. After an error, which quotes what
// was wrong, the connection must be closed.
func (p *Pad) Message(now int64, m Message) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return fmt.Errorf("pad message %q came after the end of the connection: connect again", m.T)
	}
	if err := Check(m); err != nil {
		return err
	}
	p.tokens = min(MaxBurst, p.tokens+float64(max(0, now-p.now))*MaxRate/1e9)
	now = p.tick(now)
	if p.tokens--; p.tokens < 0 {
		return fmt.Errorf("the pad sends more than %d messages a second: send only what changes", MaxRate)
	}
	d := &p.devices[m.D]
	switch m.T {
	case "pong":
		sent, ok := p.open[m.S]
		if !ok {
			return fmt.Errorf("pong %v answers no ping: answer each ping once, with its own s", m.S)
		}
		delete(p.open, m.S)
		p.rel.Observe(sent, now, m.C)
		p.lateness(now, 0) // forget old lateness in a pause too
	case "attach":
		p.attach(m, d)
	case "key":
		if !d.attached {
			return fmt.Errorf("key %q is of device %d, which is not attached: attach it first", m.K, m.D)
		}
		p.key(now, m, d)
	case "detach":
		if !d.attached {
			return fmt.Errorf("device %d cannot be detached: it is not attached", m.D)
		}
		p.detach(d, p.at(now, m.C, d))
	case "release":
		for i := range p.devices {
			d := &p.devices[i]
			if m.Why == "blur" && i != Keyboard { // gamepads do not need the focus
				continue
			}
			p.release(d, p.at(now, m.C, d))
		}
		if m.Why == "hide" {
			p.warn("hidden", "The page to play from is hidden, and browsers do not read a gamepad for a hidden page: bring it to the front, or play through the strip's address with play=1 in the streaming program.")
		}
	}
	return nil
}

// Close lets go of everything that is held and detaches every device. Later
// calls do nothing.
func (p *Pad) Close(now int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return
	}
	p.closed = true
	now = p.tick(now)
	for i := range p.devices {
		if d := &p.devices[i]; d.attached {
			p.detach(d, max(now, d.last))
		}
	}
	for kind := range p.troubles {
		p.warn(kind, "")
	}
}

// Lag returns how late in ns an edge of this pad may come: half a round trip and
// the interval at which the page looks, or as late as one came in the last
// seconds, and at most MaxLag. It is 0 while nothing is attached. An engine that
// wants every edge in order holds back by this much; an edge may still come later.
func (p *Pad) Lag() int64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	poll, any := int64(0), false
	for i := range p.devices {
		if p.devices[i].attached {
			any, poll = true, max(poll, p.devices[i].pollNS)
		}
	}
	switch {
	case !any:
		return 0
	case !p.rel.Known():
		return min(MaxLag, defaultLag+poll)
	}
	return min(MaxLag, max(p.rel.RTT()/2+poll, p.late[0], p.late[1]))
}

// Error returns the greatest error in ns of the edges' times at now: see
// [Relation.Bound]. RTT is the least round trip of the last seconds in ns.
func (p *Pad) Error(now int64) (bound, rtt int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.rel.Bound(p.tick(now)), p.rel.RTT()
}

func (p *Pad) tick(now int64) int64 {
	p.now = max(p.now, now)
	return p.now
}

func (p *Pad) attach(m Message, d *device) {
	if !d.numbered {
		d.id, d.numbered = p.ids.Next(), true
		if !p.numbered {
			p.first, p.numbered = d.id, true
		}
	}
	d.attached = true
	d.pollNS = int64(m.PollMS * nsPerMilli)
	p.sink.Attach(capture.Device{
		ID: d.id, Name: shortName(m.Name), Source: "page", Identity: m.Name,
		Keyboard: m.D == Keyboard, ReportMS: m.PollMS,
	})
	p.warn("hidden", "")
}

func (p *Pad) detach(d *device, at int64) {
	p.release(d, at)
	d.attached = false
	p.sink.Detach(d.id, at)
}

func (p *Pad) release(d *device, at int64) {
	for len(d.held) > 0 {
		p.up(d, d.held[len(d.held)-1], at)
	}
}

func (p *Pad) up(d *device, key string, at int64) {
	d.held = slices.DeleteFunc(d.held, func(k string) bool { return k == key })
	d.last = max(d.last, at)
	p.sink.Input(capture.Input{At: d.last, Device: d.id, Key: key})
}

func (p *Pad) key(now int64, m Message, d *device) {
	held := slices.Contains(d.held, m.K)
	// A key that is not bound is no error: the page may not have heard yet.
	if m.Down == held || m.Down && !p.counts(m.D, m.K) {
		return
	}
	key, _ := capture.InternKey(m.K) // valid, or Check would have said so
	at := p.at(now, m.C, d)
	p.lateness(now, now-at)
	if !m.Down {
		p.up(d, key, at)
		return
	}
	d.held = append(d.held, key)
	d.last = at
	p.sink.Input(capture.Input{At: at, Device: d.id, Key: key, Down: true})
	p.warn("hidden", "")
}

// at relates the pad's clock: never before the device's last input, never after
// now, and never older than MaxAge.
func (p *Pad) at(now int64, c float64, d *device) int64 {
	return max(d.last, now-MaxAge, p.rel.At(c, now))
}

// lateness remembers how late edges come, for 5 to 10 s.
func (p *Pad) lateness(now, late int64) {
	if now >= p.spanEnd {
		if now < p.spanEnd+lateSpan {
			p.late[1] = p.late[0]
		} else {
			p.late[1] = 0
		}
		p.late[0], p.spanEnd = 0, now+lateSpan
	}
	p.late[0] = max(p.late[0], late)
	worst := max(p.late[0], p.late[1])
	if worst <= MaxLag {
		p.warn("late", "")
		return
	}
	p.warn("late", fmt.Sprintf("Presses from the browser come up to %d ms late, too late to show them in order: use a cable in place of a wireless network, or free the one in use.", (worst+999_999)/1_000_000/50*50))
}

// warn tells of a trouble once, and of its end.
func (p *Pad) warn(kind, text string) {
	if p.troubles[kind] == text {
		return
	}
	p.troubles[kind] = text
	if p.numbered {
		p.sink.Warn(fmt.Sprintf("page-%s-%d", kind, p.first), text)
	}
}

// Browsers put the numbers of the maker and the product into the name, each in
// its way: "Name (STANDARD GAMEPAD Vendor: 0738 Product: 4716)", "0738-4716-Name".
var (
	namePrefix = regexp.MustCompile(`^[0-9a-fA-F]{1,4}-[0-9a-fA-F]{1,4}-(.+)$`)
	nameSuffix = regexp.MustCompile(`^(.+?) \((?:STANDARD GAMEPAD )?Vendor: .*\)$`)
)

func shortName(id string) string {
	for _, re := range []*regexp.Regexp{namePrefix, nameSuffix} {
		if m := re.FindStringSubmatch(id); m != nil && strings.TrimSpace(m[1]) != "" {
			return strings.TrimSpace(m[1])
		}
	}
	return id
}
