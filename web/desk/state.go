package desk

import (
	"net"
	"slices"
	"sync"

	"holdgap/capture"
	"holdgap/themes"
	"holdgap/web"
	"holdgap/web/settings"
	"holdgap/web/wire"
)

// Version is the version of what a desk and the program say to each other.
const Version = 1

// State is all that a desk shows.
type State struct {
	V        int               `json:"v"`
	Revision uint64            `json:"revision"`
	Settings settings.Settings `json:"settings"`
	Changed  Changed           `json:"changed"`
	// Undo and Redo say whether there is anything to.
	Undo bool `json:"undo"`
	Redo bool `json:"redo"`
	// Wrong says what of the profile in force cannot be used.
	Wrong string `json:"wrong,omitempty"`

	FrameMS float64          `json:"frame_ms"` // length of a frame, ms
	Buttons []capture.Button `json:"buttons"`  // in force, those of the standard layout too
	Targets []Resolved       `json:"targets"`  // of the profile in force, in its order

	Devices  []Device       `json:"devices"`
	Demo     bool           `json:"demo"`
	Paused   bool           `json:"paused"`
	Take     bool           `json:"take"`
	Replay   bool           `json:"replay"`
	Troubles []wire.Trouble `json:"troubles"`
	Binding  *Binding       `json:"binding"`

	Themes   []themes.Info `json:"themes"`
	ThemeRev int           `json:"theme_rev"`
	Standard string        `json:"standard"` // theme that is worn when none is chosen

	Takes   bool   `json:"takes"`   // this program can record
	Pads    bool   `json:"pads"`    // pages may play
	Viewers int    `json:"viewers"` // pages that show the strip, previews among them
	Desks   int    `json:"desks"`   // open desks
	Base    string `json:"base"`    // http://host:port on this machine
	LAN     *LAN   `json:"lan"`
}

// Resolved is what a target comes to.
type Resolved struct {
	Name    string `json:"name"`
	Window  int64  `json:"window"`            // frames
	Short   int64  `json:"short,omitempty"`   // frames that are missing for a link
	Opening int64  `json:"opening,omitempty"` // frames after the starter's press
	Wrong   string `json:"wrong,omitempty"`
}

// Device is an input device with what is down on it.
type Device struct {
	capture.Device
	Down    []Key  `json:"down"`
	Presses uint64 `json:"presses"` // of keys, since the program began
	Last    *Key   `json:"last"`    // key that went down last
}

// Key is a physical key and the button that it is bound to.
type Key struct {
	Key   string `json:"key"`
	Label string `json:"label,omitempty"`
}

// LAN says how other machines get in.
type LAN struct {
	Bases  []string          `json:"bases"`  // http://host:port, the likeliest first
	Tokens map[string]string `json:"tokens"` // by role
}

// inputs remembers what is down on which device.
type inputs struct {
	mu      sync.Mutex
	devices map[uint16]*pressed
	changes uint64
	heard   chan capture.Input // to the binding, while there is one
	wanted  bool
}

type pressed struct {
	down []string
	last string
	n    uint64
}

func (in *inputs) init() {
	in.devices = map[uint16]*pressed{}
	in.heard = make(chan capture.Input, 64)
}

// hear is called with the engine's lock held.
func (in *inputs) hear(i capture.Input) {
	in.mu.Lock()
	defer in.mu.Unlock()
	p := in.devices[i.Device]
	if p == nil {
		if len(in.devices) > 256 { // devices that went; those that are left tell again
			clear(in.devices)
		}
		p = &pressed{}
		in.devices[i.Device] = p
	}
	at := slices.Index(p.down, i.Key)
	switch {
	case i.Down && at < 0:
		p.down = append(p.down, i.Key)
		p.last = i.Key
		p.n++
		if in.wanted {
			select {
			case in.heard <- i:
			default: // nobody presses so much at once
			}
		}
	case !i.Down && at >= 0:
		p.down = slices.Delete(p.down, at, at+1)
	default:
		return
	}
	in.changes++
}

// want says whether presses are to be passed on, and forgets those that wait.
func (in *inputs) want(on bool) {
	in.mu.Lock()
	defer in.mu.Unlock()
	in.wanted = on
	for {
		select {
		case <-in.heard:
			continue
		default:
		}
		return
	}
}

// of returns what is down on a device.
func (in *inputs) of(id uint16) pressed {
	in.mu.Lock()
	defer in.mu.Unlock()
	p := in.devices[id]
	if p == nil {
		return pressed{}
	}
	return pressed{slices.Clone(p.down), p.last, p.n}
}

// now puts the state together.
func (d *Desk) now() State {
	snap := d.opts.Store.Get()
	set := snap.Settings
	setup := d.opts.Engine.Setup()
	status := d.opts.Engine.Status()
	s := State{
		V: Version, Revision: snap.Rev, Settings: set, Undo: snap.Undo > 0, Redo: snap.Redo > 0,
		FrameMS: setup.Rate.FrameNS() / 1e6, Buttons: setup.Layout.Buttons, Targets: []Resolved{},
		Devices: []Device{}, Demo: status.Demo, Paused: status.Paused, Take: status.Take, Replay: status.Replay,
		Troubles: status.Troubles,
		Themes:   d.opts.Themes.List(), ThemeRev: d.opts.Themes.Rev(), Standard: themes.Standard,
		Takes: d.opts.Takes != nil, Pads: d.opts.Pads, Viewers: d.opts.Engine.Hub().Stats().Viewers,
		Base: "http://" + d.opts.Addr,
	}
	if p := set.Current(); p != nil {
		if _, err := p.Setup(); err != nil {
			s.Wrong = err.Error()
		}
		for i := range p.Targets {
			s.Targets = append(s.Targets, resolve(&p.Targets[i], p.Layout()))
		}
	}
	owner := owners(setup.Layout)
	for _, dev := range d.opts.Engine.Devices() {
		s.Devices = append(s.Devices, d.device(dev, owner, status.Paused))
	}
	if t := snap.Trouble; t != "" && !slices.ContainsFunc(s.Troubles, func(w wire.Trouble) bool { return w.Key == settings.Trouble }) {
		s.Troubles = append(s.Troubles, wire.Trouble{Key: settings.Trouble, Text: t})
	}
	for _, t := range d.opts.Themes.Troubles() {
		s.Troubles = append(s.Troubles, wire.Trouble{Key: "theme", Text: t.Error()})
	}
	if d.opts.LAN != nil {
		s.LAN = d.lan()
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	s.Desks = len(d.open)
	s.Changed = d.who(&snap)
	if d.bind != nil {
		s.Binding = d.bind.tell()
	} else if d.ended != nil {
		s.Binding = d.ended
	}
	return s
}

func resolve(t *settings.Target, l capture.Layout) Resolved {
	r := Resolved{Name: t.Name}
	w, short, err := t.WindowFrames()
	r.Window, r.Short = int64(w), int64(short)
	if err == nil {
		_, err = t.Resolve(l)
	}
	if err != nil {
		r.Wrong = err.Error()
	}
	if t.Starter != "" {
		r.Opening = int64(t.OpeningFrames())
	}
	return r
}

// owners gives the label of the button that each key is bound to.
func owners(l capture.Layout) map[string]string {
	m := map[string]string{}
	for _, b := range l.Buttons {
		for _, k := range b.Keys {
			m[k] = b.Label
		}
	}
	return m
}

func (d *Desk) device(dev capture.Device, owner map[string]string, paused bool) Device {
	out := Device{Device: dev, Down: []Key{}}
	if paused { // hands off: nothing is shown
		return out
	}
	p := d.inputs.of(dev.ID)
	for _, k := range p.down {
		out.Down = append(out.Down, Key{k, owner[k]})
	}
	out.Presses = p.n
	if p.last != "" {
		out.Last = &Key{p.last, owner[p.last]}
	}
	return out
}

func (d *Desk) lan() *LAN {
	l := &LAN{Bases: []string{}, Tokens: map[string]string{}}
	_, port, err := net.SplitHostPort(d.opts.Addr)
	if err != nil {
		port = "80"
	}
	for _, host := range d.opts.LAN.Addresses() {
		l.Bases = append(l.Bases, "http://"+net.JoinHostPort(host, port))
	}
	for r := web.View; r <= web.Control; r++ {
		l.Tokens[r.String()] = d.opts.LAN.Token(r)
	}
	return l
}
