package desk

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"holdgap/capture"
	"holdgap/web/settings"
)

// bindFor is how long a binding waits for the next press.
const bindFor = time.Minute

// Binding is a button being bound by pressing, as desks are told.
type Binding struct {
	N      uint64 `json:"n"`      // goes up with everything that happens in it
	Desk   string `json:"desk"`   // that began it
	Button string `json:"button"` // label; empty: each press makes a new button
	Active bool   `json:"active"` // false: it has ended, and Said tells how
	Said   string `json:"said"`   // what happened last, in words
	Added  int    `json:"added"`  // keys bound so far
	// Asks is a key that another button has already: move it, or leave it?
	Asks *Asked `json:"asks"`
}

// Asked is a conflict.
type Asked struct {
	Key   string `json:"key"`
	Owner string `json:"owner"` // label of the button that has the key
}

// binding is one that is going on.
type binding struct {
	Binding
	profile string
	devices map[uint16]string // names of those that are there
}

func (b *binding) tell() *Binding {
	c := b.Binding
	if b.Asks != nil {
		asks := *b.Asks
		c.Asks = &asks
	}
	return &c
}

// say tells what happened in the binding; the lock is held. Everything has a number,
// so that a desk never mistakes one message for another.
func (d *Desk) say(format string, args ...any) {
	d.done++
	d.bind.N = d.done
	d.bind.Said = fmt.Sprintf(format, args...)
}

// startBind begins to wait for presses.
func (d *Desk) startBind(who, profile, button string) error {
	set := d.opts.Store.Get().Settings
	p := find(&set, profile)
	if p == nil {
		return noProfile(&set, profile)
	}
	if button != "" && p.Layout().Index(button) < 0 {
		return fmt.Errorf("binding button %q by pressing: profile %q has no button of that label", clip(button), profile)
	}
	devices := d.real()
	d.mu.Lock()
	if d.closed {
		d.mu.Unlock()
		return fmt.Errorf("the program is shutting down")
	}
	other := d.bind != nil && d.bind.Desk != who
	d.bind = &binding{Binding: Binding{Desk: who, Button: button, Active: true}, profile: profile, devices: devices}
	switch {
	case other:
		d.say("Another desk was binding; this one goes on now. Press what should be it.")
	case len(devices) == 0:
		d.say("No controller is there yet: plug one in, or read it through a browser. Then press what should be it.")
	default:
		d.say("Press what should be it.")
	}
	d.timer.Reset(bindFor)
	d.mu.Unlock()
	d.inputs.want(true)
	d.listen()
	d.kick()
	return nil
}

// endBind ends the binding, if there is one.
func (d *Desk) endBind(format string, args ...any) {
	d.mu.Lock()
	if d.bind == nil {
		d.mu.Unlock()
		return
	}
	d.say(format, args...)
	d.bind.Active, d.bind.Asks = false, nil
	d.ended, d.bind = d.bind.tell(), nil
	d.timer.Stop()
	d.mu.Unlock()
	d.inputs.want(false)
	d.listen()
	d.kick()
}

// listen has pads send unbound keys while a binding waits, and only then.
func (d *Desk) listen() {
	d.learning.Lock()
	defer d.learning.Unlock()
	d.mu.Lock()
	on := d.bind != nil
	d.mu.Unlock()
	if on == (d.endListen != nil) {
		return
	}
	if on {
		d.endListen = d.opts.Engine.Listen(func(capture.Input) {})
	} else {
		d.endListen()
		d.endListen = nil
	}
	d.opts.Learn(on)
}

// real returns the names of the devices that a person holds.
func (d *Desk) real() map[uint16]string {
	m := map[uint16]string{}
	for _, dev := range d.opts.Engine.Devices() {
		if dev.Source != "demo" && dev.Source != "take" {
			m[dev.ID] = dev.Name
		}
	}
	return m
}

// run takes presses while a button is being bound, sees devices come and go, and
// ends a binding that waits too long.
func (d *Desk) run() {
	tick := time.NewTicker(look)
	defer tick.Stop()
	for {
		select {
		case <-d.stop:
			d.endBind("The program is shutting down.")
			return
		case in := <-d.inputs.heard:
			if _, ok := d.real()[in.Device]; ok {
				d.pressed(in.Key)
			}
		case <-d.timer.C:
			d.endBind("Nothing was pressed for a minute, so binding has ended. Nothing is lost.")
		case <-tick.C:
			d.comeAndGo()
		}
	}
}

// comeAndGo says when a device appears or vanishes while a button is being bound.
func (d *Desk) comeAndGo() {
	d.mu.Lock()
	idle := d.bind == nil
	d.mu.Unlock()
	if idle {
		return
	}
	now := d.real()
	d.mu.Lock()
	if d.bind == nil {
		d.mu.Unlock()
		return
	}
	said := false
	for id, name := range d.bind.devices {
		if _, ok := now[id]; !ok {
			d.say("%s is gone: unplugged, or its page was closed. Nothing is lost: plug it in again and press, or stop.", name)
			said = true
		}
	}
	for id, name := range now {
		if _, ok := d.bind.devices[id]; !ok && !said {
			d.say("%s is there. Press what should be it.", name)
			said = true
		}
	}
	d.bind.devices = now
	d.mu.Unlock()
	if said {
		d.kick()
	}
}

// pressed binds a key, or asks when another button has it. It changes nothing
// while a question is open.
func (d *Desk) pressed(key string) {
	d.mu.Lock()
	b := d.bind
	if b == nil || b.Asks != nil {
		d.mu.Unlock()
		return
	}
	d.timer.Reset(bindFor)
	who, profile, button := b.Desk, b.profile, b.Button
	d.mu.Unlock()

	set := d.opts.Store.Get().Settings
	p := find(&set, profile)
	if p == nil {
		d.endBind("Profile %q is gone, so binding has ended.", profile)
		return
	}
	owner := ""
	if len(p.Buttons) > 0 || button != "" {
		owner = owners(p.Layout())[key]
	} else {
		owner = owners(capture.Layout{Buttons: directions()})[key]
	}
	switch {
	case owner != "" && (owner == button || button == ""):
		d.note("%s is %s already. Press another.", Words(key), owner)
		return
	case owner != "":
		d.mu.Lock()
		if d.bind == b {
			b.Asks = &Asked{key, owner}
			d.say("%s is bound to %s already.", Words(key), owner)
		}
		d.mu.Unlock()
		d.kick()
		return
	}
	label := button
	err := d.change(who, 0, func(s *settings.Settings) (string, error) {
		p := find(s, profile)
		if p == nil {
			return "", noProfile(s, profile)
		}
		if button == "" {
			own(p, directions())
			label = newLabel(p.Buttons, key)
			p.Buttons = append(p.Buttons, capture.Button{Label: label, Keys: []string{key}})
			return "Buttons: " + label + " added", nil
		}
		own(p, p.Layout().Buttons)
		i := p.Layout().Index(button)
		if i < 0 {
			return "", fmt.Errorf("button %q is gone", button)
		}
		p.Buttons[i].Keys = append(p.Buttons[i].Keys, key)
		return "Buttons: " + Words(key) + " bound to " + button, nil
	})
	d.bound(b, key, label, err)
}

// bound tells how binding a key went; for a button that was chosen it is over then.
func (d *Desk) bound(b *binding, key, label string, err error) {
	if err != nil {
		d.note("%s was not bound: %v", Words(key), err)
		return
	}
	d.mu.Lock()
	if d.bind == b {
		b.Added++
		b.Asks = nil
	}
	d.mu.Unlock()
	if b.Button != "" {
		d.endBind("%s is bound to %s.", Words(key), label)
		return
	}
	d.note("%s added. Press the next one, or choose Done.", label)
}

func (d *Desk) note(format string, args ...any) {
	d.mu.Lock()
	if d.bind != nil {
		d.say(format, args...)
	}
	d.mu.Unlock()
	d.kick()
}

// move answers the question of a conflict: the key goes to the button being bound.
func (d *Desk) move() error {
	d.mu.Lock()
	b := d.bind
	if b == nil || b.Asks == nil {
		d.mu.Unlock()
		return fmt.Errorf("there is no key to move: press one first")
	}
	asked, profile, who := *b.Asks, b.profile, b.Desk
	d.mu.Unlock()
	err := d.change(who, 0, func(s *settings.Settings) (string, error) {
		p := find(s, profile)
		if p == nil {
			return "", noProfile(s, profile)
		}
		own(p, p.Layout().Buttons)
		to := p.Layout().Index(b.Button)
		if to < 0 {
			return "", fmt.Errorf("button %q is gone", b.Button)
		}
		for i := range p.Buttons {
			p.Buttons[i].Keys = slices.DeleteFunc(p.Buttons[i].Keys, func(k string) bool { return k == asked.Key })
		}
		p.Buttons[to].Keys = append(p.Buttons[to].Keys, asked.Key)
		return fmt.Sprintf("Buttons: %s moved from %s to %s", Words(asked.Key), asked.Owner, b.Button), nil
	})
	d.bound(b, asked.Key, b.Button, err)
	return err
}

// leave answers it the other way.
func (d *Desk) leave() {
	d.mu.Lock()
	if d.bind != nil && d.bind.Asks != nil {
		d.bind.Asks = nil
		d.say("Left as it was. Press another.")
	}
	d.mu.Unlock()
	d.kick()
}

// own gives a profile that has every button by position buttons of its own, to be
// changed from then on.
func own(p *settings.Profile, buttons []capture.Button) {
	if len(p.Buttons) > 0 {
		return
	}
	for _, b := range buttons {
		b.Keys = slices.Clone(b.Keys)
		p.Buttons = append(p.Buttons, b)
	}
}

// directions are the buttons that a player's own layout begins with.
func directions() []capture.Button {
	var out []capture.Button
	for _, b := range capture.DefaultLayout().Buttons {
		if b.Role != capture.Action {
			out = append(out, b)
		}
	}
	return out
}

// newLabel names a button after where it sits.
func newLabel(buttons []capture.Button, key string) string {
	label := Words(key)
	if r := []rune(label); len(r) > 20 {
		label = string(r[:20])
	}
	for i, try := 2, label; ; i++ {
		if !slices.ContainsFunc(buttons, func(b capture.Button) bool { return b.Label == try }) {
			return try
		}
		try = fmt.Sprintf("%s %d", label, i)
	}
}

var keyWords = map[string]string{
	"tl": "upper left front", "tr": "upper right front", "tl2": "lower left front", "tr2": "lower right front",
	"thumbl": "left stick pressed", "thumbr": "right stick pressed", "mode": "centre",
	"stick_up": "stick up", "stick_down": "stick down", "stick_left": "stick left", "stick_right": "stick right",
	"stick2_up": "right stick up", "stick2_down": "right stick down",
	"stick2_left": "right stick left", "stick2_right": "right stick right",
}

// Words names a key for people, by its position.
func Words(key string) string {
	if w, ok := keyWords[key]; ok {
		return w
	}
	if k, ok := strings.CutPrefix(key, "key_"); ok {
		return "key " + k
	}
	if n, ok := strings.CutPrefix(key, "button"); ok {
		return "button " + n
	}
	return strings.ReplaceAll(strings.Replace(key, "axis", "axis ", 1), "_", " ")
}
