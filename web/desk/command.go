package desk

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"

	"holdgap/capture"
	"holdgap/web"
	"holdgap/web/settings"
)

// Command is what a desk asks for. Do says what, and which of the other fields
// belong to it; the others must be left out.
//
//	{"do":"set","patch":{…}}                        settings other than profiles
//	{"do":"profile","profile":P,"patch":{…}}        a profile; "name" in it renames
//	{"do":"choose","profile":P}                     puts a profile in force
//	{"do":"copy","profile":P,"to":Q}                a new profile like P
//	{"do":"remove","profile":P}
//	{"do":"label","profile":P,"button":A,"to":B}    renames a button, everywhere
//	{"do":"unbutton","profile":P,"button":A}        removes a button
//	{"do":"own","profile":P}                        every button by position, to change
//	{"do":"bind","profile":P,"button":A}            binding by pressing; without button: new ones
//	{"do":"bindkey","code":"KeyJ"}                  a keyboard key, as KeyboardEvent.code
//	{"do":"move"} {"do":"leave"} {"do":"unbind"}    a conflict's answers; the end of binding
//	{"do":"pause","on":true}
//	{"do":"take","on":true} {"do":"recent"} {"do":"mark","note":N}
//	{"do":"undo"} {"do":"redo"}
//	{"do":"renew","role":"view"}                    a new token
//
// A patch is a JSON merge patch (RFC 7386): what it names is replaced, lists
// whole, and null stands for absent.
type Command struct {
	Do      string          `json:"do"`
	Desk    string          `json:"desk"`  // the desk's own name, at most 40 characters
	Based   uint64          `json:"based"` // revision that the desk showed
	Profile string          `json:"profile,omitempty"`
	Button  string          `json:"button,omitempty"`
	To      string          `json:"to,omitempty"`
	Code    string          `json:"code,omitempty"`
	Note    string          `json:"note,omitempty"`
	Role    string          `json:"role,omitempty"`
	On      bool            `json:"on,omitempty"`
	Patch   json.RawMessage `json:"patch,omitempty"`
}

// Answer says how a command went.
type Answer struct {
	Revision uint64 `json:"revision"`
	// Over says that the settings had changed since the revision that the command
	// was made against; it was carried out all the same.
	Over  bool   `json:"over,omitempty"`
	Error string `json:"error,omitempty"`
}

func (d *Desk) do(w http.ResponseWriter, r *http.Request) {
	var c Command
	if err := decode(r.Body, &c); err != nil {
		refuse(w, http.StatusBadRequest, err)
		return
	}
	if len(c.Desk) > 40 {
		refuse(w, http.StatusBadRequest, fmt.Errorf("desk name %q is longer than 40 characters", clip(c.Desk)))
		return
	}
	before := d.opts.Store.Get().Rev
	err := d.carryOut(&c)
	a := Answer{Revision: d.opts.Store.Get().Rev, Over: c.Based != 0 && c.Based < before}
	status := http.StatusOK
	if err != nil {
		a.Error, status = err.Error(), http.StatusUnprocessableEntity
	}
	d.kick()
	answer(w, status, a)
}

// carryOut carries a command out; its error is in words for the person at the desk.
func (d *Desk) carryOut(c *Command) error {
	switch c.Do {
	case "bind":
		return d.startBind(c.Desk, c.Profile, c.Button)
	case "bindkey":
		key, ok := capture.WebKey(c.Code)
		if !ok {
			d.note("That key cannot be bound. Press another.")
			return fmt.Errorf("keyboard key %q is not one that can be bound: press another", clip(c.Code))
		}
		d.pressed(key)
		return nil
	case "move":
		return d.move()
	case "leave":
		d.leave()
		return nil
	case "unbind":
		d.endBind("Binding has ended.")
		return nil
	case "pause":
		d.opts.Engine.Pause(c.On)
		return nil
	case "undo":
		return d.step(c.Desk, "The last change was undone", d.opts.Store.Undo)
	case "redo":
		return d.step(c.Desk, "The change was done again", d.opts.Store.Redo)
	case "take", "recent", "mark":
		return d.take(c)
	case "renew":
		return d.renew(c.Role)
	}
	return d.change(c.Desk, c.Based, func(s *settings.Settings) (string, error) { return edit(s, c) })
}

func (d *Desk) take(c *Command) error {
	t := d.opts.Takes
	if t == nil {
		return fmt.Errorf("this program was started without takes")
	}
	switch {
	case c.Do == "recent":
		return t.SaveRecent()
	case c.Do == "mark":
		if len([]rune(c.Note)) > 200 {
			return fmt.Errorf("mark note %q is longer than 200 characters: shorten it", clip(c.Note))
		}
		return t.Mark(c.Note)
	case c.On:
		return t.Start()
	}
	return t.Stop()
}

func (d *Desk) renew(role string) error {
	if d.opts.LAN == nil {
		return fmt.Errorf("only this machine is served: there are no tokens")
	}
	r, err := web.ParseRole(role)
	if err != nil {
		return err
	}
	return d.opts.LAN.Renew(r)
}

// change changes the settings and remembers who did what.
func (d *Desk) change(who string, based uint64, f func(*settings.Settings) (string, error)) error {
	next := Changed{Desk: who, By: byDesk + who}
	rev, err := d.opts.Store.ChangeFrom(based, next.By, func(s *settings.Settings) error {
		var err error
		next.What, err = f(s)
		d.comes(next)
		return err
	})
	return d.made(next, rev, err)
}

// step undoes or does again.
func (d *Desk) step(who, what string, f func() (uint64, error)) error {
	next := Changed{Desk: who, By: settings.ByUndo, What: what}
	d.comes(next)
	rev, err := f()
	return d.made(next, rev, err)
}

// byDesk begins the name by which the store knows a desk.
const byDesk = "desk "

// comes notes what a change is about before the store tells of it.
func (d *Desk) comes(c Changed) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.coming = c
}

// made notes a change that was made. One that was put in force but not stored
// counts; its error says so.
func (d *Desk) made(c Changed, rev uint64, err error) error {
	var unsaved *settings.UnsavedError
	if err != nil && !errors.As(err, &unsaved) {
		return words(err)
	}
	d.mu.Lock()
	if c.Revision = rev; rev > d.changed.Revision {
		d.changed = c
	}
	d.mu.Unlock()
	d.kick()
	return err
}

// who says who made the change that a snapshot came from; the lock is held.
func (d *Desk) who(s *settings.Snapshot) Changed {
	c := Changed{By: s.By, Revision: s.Rev}
	c.Desk, _ = strings.CutPrefix(s.By, byDesk)
	if c.Desk == s.By {
		c.Desk = ""
	}
	switch {
	case d.changed.Revision == s.Rev:
		c = d.changed
	case d.coming.By == s.By:
		c.Desk, c.What = d.coming.Desk, d.coming.What
	}
	return c
}

// words leaves out of an error what speaks of the file.
func words(err error) error {
	var list settings.Problems
	if !errors.As(err, &list) {
		return err
	}
	var out []string
	for _, p := range list {
		out = append(out, p.Reason)
	}
	return errors.New(strings.Join(out, "; "))
}

// edit carries out a command on a copy of the settings and says what it did.
func edit(s *settings.Settings, c *Command) (string, error) {
	if c.Do == "set" {
		return patchSettings(s, c.Patch)
	}
	p := find(s, c.Profile)
	if p == nil {
		return "", noProfile(s, c.Profile)
	}
	var what string
	var err error
	switch c.Do {
	case "profile":
		what, err = patchProfile(s, p, c.Patch)
	case "choose":
		s.Profile = p.Name
		what = fmt.Sprintf("Profile %q is in force", p.Name)
	case "copy":
		err = copyProfile(s, p, c.To)
		what = fmt.Sprintf("Profile %q added", c.To)
	case "remove":
		err = removeProfile(s, p.Name)
		what = fmt.Sprintf("Profile %q removed", c.Profile)
	case "label":
		err = relabel(s, p, c.Button, c.To)
		what = fmt.Sprintf("Buttons: %s is called %s", c.Button, c.To)
	case "unbutton":
		err = removeButton(p, c.Button)
		what = fmt.Sprintf("Buttons: %s removed", c.Button)
	case "own":
		own(p, p.Layout().Buttons)
		what = "Buttons: every button by position, to be changed"
	default:
		return "", fmt.Errorf("command %q is not known", clip(c.Do))
	}
	return what, err
}

func find(s *settings.Settings, name string) *settings.Profile {
	for i := range s.Profiles {
		if s.Profiles[i].Name == name {
			return &s.Profiles[i]
		}
	}
	return nil
}

func noProfile(s *settings.Settings, name string) error {
	var have []string
	for _, p := range s.Profiles {
		have = append(have, fmt.Sprintf("%q", p.Name))
	}
	return fmt.Errorf("there is no profile %q (any more): there are %s", clip(name), strings.Join(have, ", "))
}

func copyProfile(s *settings.Settings, from *settings.Profile, to string) error {
	if find(s, to) != nil {
		return fmt.Errorf("there is a profile %q already: choose another name", clip(to))
	}
	p := *from
	p.Name, p.Devices = to, nil
	s.Profiles = append(s.Profiles, p)
	*s = s.Clone() // the two share nothing
	s.Profile = to
	return nil
}

func removeProfile(s *settings.Settings, name string) error {
	if len(s.Profiles) == 1 {
		return fmt.Errorf("profile %q is the only one: add another before you remove it", name)
	}
	s.Profiles = slices.DeleteFunc(s.Profiles, func(p settings.Profile) bool { return p.Name == name })
	if s.Profile == name {
		s.Profile = s.Profiles[0].Name
	}
	return nil
}

// relabel renames a button wherever the profile, and a chord, speak of it.
func relabel(s *settings.Settings, p *settings.Profile, from, to string) error {
	own(p, p.Layout().Buttons)
	i := p.Layout().Index(from)
	if i < 0 {
		return fmt.Errorf("profile %q has no button %q", p.Name, clip(from))
	}
	p.Buttons[i].Label = to
	for j := range p.Targets {
		t := &p.Targets[j]
		if t.Button == from {
			t.Button = to
		}
		if t.Starter == from {
			t.Starter = to
		}
	}
	for i := range s.Profiles {
		if s.Profiles[i].Layout().Index(from) >= 0 {
			return nil // a chord may mean that one's button
		}
	}
	for _, c := range s.Chords {
		for k, b := range c.Buttons {
			if b == from {
				c.Buttons[k] = to
			}
		}
	}
	return nil
}

// removeButton removes a button that nothing speaks of.
func removeButton(p *settings.Profile, label string) error {
	own(p, p.Layout().Buttons)
	i := p.Layout().Index(label)
	if i < 0 {
		return fmt.Errorf("profile %q has no button %q (any more)", p.Name, clip(label))
	}
	for _, t := range p.Targets {
		if t.Button == label || t.Starter == label {
			return fmt.Errorf("target %q speaks of button %q: choose another there first", t.Name, label)
		}
	}
	if len(p.Buttons) == 1 {
		p.Buttons = nil // every button by position again
		return nil
	}
	p.Buttons = slices.Delete(p.Buttons, i, i+1)
	return nil
}

// decode reads one JSON value and nothing else, strictly.
func decode(r io.Reader, v any) error {
	b, err := io.ReadAll(r)
	var tooLong *http.MaxBytesError
	if errors.As(err, &tooLong) {
		return fmt.Errorf("the command is longer than %d bytes", tooLong.Limit)
	}
	if err != nil {
		return fmt.Errorf("reading the command: %w", err)
	}
	return strict(b, v)
}

func strict(b []byte, v any) error {
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.DisallowUnknownFields()
	err := dec.Decode(v)
	if err == nil && dec.More() {
		err = errors.New("it goes on behind its end")
	}
	var kind *json.UnmarshalTypeError
	if errors.As(err, &kind) {
		err = fmt.Errorf("%s cannot be a %s", kind.Field, kind.Value)
	}
	if err != nil {
		return fmt.Errorf("%q: %s", clip(string(b)), strings.TrimPrefix(err.Error(), "json: "))
	}
	return nil
}

func refuse(w http.ResponseWriter, status int, err error) {
	answer(w, status, Answer{Error: err.Error()})
}

func answer(w http.ResponseWriter, status int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(v)
}
