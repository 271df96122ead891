package settings

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/window"
	"holdgap/themes"
	"holdgap/web/live"
)

// Limits.
const (
	MaxProfiles    = 64
	MaxTargets     = 64 // of a profile
	MaxChords      = 16
	MaxDevices     = 32 // of a profile
	MaxOptions     = 64 // of the strip
	MaxRingMinutes = 120
	MaxName        = 60   // characters of a name
	MaxText        = 1024 // characters of any other text
)

// What a chord does.
const (
	DoesMark  = "mark"
	DoesPause = "pause"
	DoesTake  = "take"
)

// ErrNoLink is in the error of a target whose frame data leaves no window.
var ErrNoLink = errors.New("it does not link")

// normalize fills in what an empty value stands for.
func (s *Settings) normalize() {
	*s = s.Clone()
	s.Version = Version
	for i := range s.Profiles {
		if p := &s.Profiles[i]; p.Rate.IsZero() {
			p.Rate = frame.Hz60
		}
	}
	if len(s.Profiles) == 0 {
		s.Profiles = []Profile{DefaultProfile("everything")}
		copied := s.Clone()
		*s = copied
	}
	if s.Profile == "" {
		s.Profile = s.Profiles[0].Name
	}
}

// checker gathers problems.
type checker struct{ wrong Problems }

func (c *checker) fail(path, format string, args ...any) {
	c.wrong = append(c.wrong, Problem{Path: path, Reason: fmt.Sprintf(format, args...)})
}

func (c *checker) err(path, prefix string, err error) {
	if err != nil {
		c.fail(path, "%s%v", prefix, err)
	}
}

// Check reports everything wrong with the settings as [Problems], or nil.
func (s *Settings) Check() error {
	var c checker
	c.texts("", reflect.ValueOf(*s))
	if len(c.wrong) > 0 {
		return c.wrong // the rest would only quote what cannot be quoted
	}
	if s.Version != Version {
		c.fail("version", "version %d is not one that this program knows: write %d", s.Version, Version)
	}
	if s.Strip.Theme != "" && !themes.ValidName(s.Strip.Theme) {
		c.fail("strip.theme", "a theme cannot be named %q: holdgap theme list names the built-in ones", s.Strip.Theme)
	}
	if n := len(s.Strip.Options); n > MaxOptions {
		c.fail("strip.options", "there are %d options of the strip, more than %d", n, MaxOptions)
	}
	for k, v := range s.Strip.Options {
		if k == "" || utf8.RuneCountInString(k) > MaxName || utf8.RuneCountInString(v) > 200 {
			c.fail(join("strip.options", k), "strip option %q: a name has 1 to %d characters and a value 200 at most", k, MaxName)
		}
	}
	if n := s.Takes.RingMinutes; n < 0 || n > MaxRingMinutes {
		c.fail("takes.ring_minutes", "ring_minutes %d is outside 0 to %d minutes", n, MaxRingMinutes)
	}
	c.profiles(s)
	c.chords(s)
	return c.wrong.err()
}

// texts checks that every text can be shown and kept, and every number is one.
func (c *checker) texts(path string, v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		switch s := v.String(); {
		case !utf8.ValidString(s):
			c.fail(path, "%q is not UTF-8 text", s)
		case strings.ContainsFunc(s, unicode.IsControl):
			c.fail(path, "%q has a control character in it: take it out", s)
		case utf8.RuneCountInString(s) > MaxText:
			c.fail(path, "a text of %d characters is longer than %d: shorten it", utf8.RuneCountInString(s), MaxText)
		}
	case reflect.Float64:
		if !finite(v.Float()) {
			c.fail(path, "%v is not a number that can be used", v.Float())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if key, _ := tag(v.Type().Field(i)); key != "" {
				c.texts(join(path, key), v.Field(i))
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			c.texts(join(path, fmt.Sprint(i)), v.Index(i))
		}
	case reflect.Pointer:
		if !v.IsNil() {
			c.texts(path, v.Elem())
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			c.texts(join(path, k.String()), k)
			c.texts(join(path, k.String()), v.MapIndex(k))
		}
	}
}

// name checks a name that has to be found again by what people type.
func (c *checker) name(path, what, name string, seen map[string]bool) {
	switch {
	case strings.TrimSpace(name) == "":
		c.fail(path, "a %s has no name: give it one", what)
	case strings.TrimSpace(name) != name:
		c.fail(path, "the %s name %q begins or ends with a space: take it out", what, name)
	case utf8.RuneCountInString(name) > MaxName:
		c.fail(path, "the %s name %q is longer than %d characters: shorten it", what, name, MaxName)
	case seen[name]:
		c.fail(path, "two %ss are named %q: give each a name of its own", what, name)
	}
	seen[name] = true
}

func (c *checker) profiles(s *Settings) {
	if n := len(s.Profiles); n == 0 || n > MaxProfiles {
		c.fail("profile_for", "there are %d profiles: have 1 to %d", n, MaxProfiles)
	}
	if s.Current() == nil {
		c.fail("profile", "the profile in force is %q, and there is none of that name: there are %s", s.Profile, s.profileNames())
	}
	seen := map[string]bool{}
	for i := range s.Profiles {
		p := &s.Profiles[i]
		path := fmt.Sprintf("profile_for.%d", i)
		c.name(join(path, "name"), "profile", p.Name, seen)
		c.profile(path, p)
	}
}

// profileNames lists the profiles for people.
func (s *Settings) profileNames() string {
	var names []string
	for i := range s.Profiles {
		names = append(names, fmt.Sprintf("%q", s.Profiles[i].Name))
	}
	return strings.Join(names, ", ")
}

func (c *checker) profile(path string, p *Profile) {
	who := fmt.Sprintf("profile %q: ", p.Name)
	before := len(c.wrong)
	if n := len(p.Devices); n > MaxDevices {
		c.fail(join(path, "devices"), "%s%d devices are more than %d", who, n, MaxDevices)
	}
	for i, d := range p.Devices {
		if strings.TrimSpace(d) == "" || utf8.RuneCountInString(d) > 200 {
			c.fail(join(path, "devices"), "%sdevice %q: an identity has 1 to 200 characters; holdgap devices lists them", who, d)
		}
		if slices.ContainsFunc(p.Devices[:i], func(o string) bool { return strings.EqualFold(o, d) }) {
			c.fail(join(path, "devices"), "%sdevice %q is listed twice", who, d)
		}
	}
	if p.BounceMS > 100 || p.BounceMS < -1 {
		c.fail(join(path, "bounce_ms"), "%sbounce_ms %v is outside 0 to 100 ms: 0 is the default and −1 is never", who, p.BounceMS)
	}
	c.layout(path, who, p.Buttons)
	if n := len(p.Targets); n > MaxTargets {
		c.fail(join(path, "target"), "%s%d targets are more than %d", who, n, MaxTargets)
	}
	seen := map[string]bool{}
	for i := range p.Targets {
		t := &p.Targets[i]
		at := fmt.Sprintf("%s.target.%d", path, i)
		c.name(join(at, "name"), "target", t.Name, seen)
		err := t.Check(p.Layout())
		if err != nil && (!errors.Is(err, ErrNoLink) || t.Name == p.Target) {
			c.err(join(at, t.guilty(p.Layout())), who, err)
		}
	}
	if len(c.wrong) == before { // else it would be said twice
		if _, err := p.Setup(); err != nil {
			c.err(join(path, guilty(p)), "", err)
		}
	}
}

// guilty guesses the key behind an error of [Profile.Setup].
func guilty(p *Profile) string {
	q := *p
	for _, try := range []struct {
		key  string
		undo func()
	}{
		{"phase_ms", func() { q.PhaseMS = nil }},
		{"multi_press_spacing", func() { q.Quick = 0 }},
		{"window", func() { q.Window = 0 }},
		{"aim", func() { q.Target = "" }},
	} {
		try.undo()
		if _, err := q.Setup(); err == nil {
			return try.key
		}
		q = *p
	}
	return "name"
}

func (c *checker) layout(path, who string, buttons []capture.Button) {
	if len(buttons) == 0 {
		return
	}
	for i, b := range buttons {
		at := fmt.Sprintf("%s.button.%d", path, i)
		for _, k := range b.Keys {
			c.err(join(at, "keys"), who+fmt.Sprintf("button %q: ", b.Label), capture.CheckKey(k))
		}
	}
	if (capture.Layout{Buttons: buttons}).Check() == nil {
		return
	}
	for i := range buttons { // the first that makes it wrong
		if err := (capture.Layout{Buttons: buttons[:i+1]}).Check(); err != nil {
			c.err(fmt.Sprintf("%s.button.%d", path, i), who, err)
			return
		}
	}
}

// guilty guesses the key behind an error of [Target.Check].
func (t *Target) guilty(l capture.Layout) string {
	q := *t
	for _, try := range []struct {
		key  string
		undo func()
	}{
		{"button", func() { q.Button = "" }},
		{"starter", func() { q.Starter = "" }},
		{"early", func() { q.Early = "" }},
		{"hold", func() { q.Hold = 0 }},
		{"presses", func() { q.Presses = 0 }},
		{"spacing", func() { q.Spacing = 0 }},
		{"opening", func() { q.Opening = 1 }},
		{"move", func() { q.Move, q.Opening = nil, 1 }},
		{"frames", func() { q.Frames, q.Link = 1, nil }},
	} {
		if try.undo(); q.Check(l) == nil {
			if try.key == "frames" && t.Frames == 0 && t.Link != nil {
				return "link"
			}
			return try.key
		}
		q = *t
	}
	return "name"
}

// Check reports what is wrong with the target for a layout. The error of frame
// data that leave no window is [ErrNoLink].
func (t *Target) Check(l capture.Layout) error {
	if err := t.ranges(); err != nil {
		return err
	}
	_, err := t.Resolve(l)
	return err
}

// ranges looks at what [Target.Resolve] does not need.
func (t *Target) ranges() error {
	bad := func(what string, n, least int64) error {
		return fmt.Errorf("target %q: %s %d is outside %d to %d frames", t.Name, what, n, least, window.MaxFrames)
	}
	most := int64(window.MaxFrames)
	switch {
	case t.Frames < 0 || t.Frames > most:
		return bad("frames", t.Frames, 0)
	case t.Frames == 0 && t.Link == nil:
		return fmt.Errorf("target %q has no window: give frames, or the frame data of a link", t.Name)
	case t.Spacing < 0 || t.Spacing > int64(window.MaxSpacing):
		return bad("spacing", t.Spacing, 0)
	case t.Opening < 0 || t.Opening > most:
		return bad("opening", t.Opening, 0)
	}
	if m := t.Move; m != nil {
		for _, f := range []struct {
			what     string
			n, least int64
		}{{"startup", m.Startup, 1}, {"active", m.Active, 0}, {"recovery", m.Recovery, 0}, {"hit_stop", m.HitStop, 0}} {
			if f.n < f.least || f.n > most {
				return bad("the starter's "+f.what, f.n, f.least)
			}
		}
	}
	return nil
}

func (c *checker) chords(s *Settings) {
	if n := len(s.Chords); n > MaxChords {
		c.fail("chord", "%d chords are more than %d", n, MaxChords)
	}
	for i := range s.Chords {
		ch := &s.Chords[i]
		path := fmt.Sprintf("chord.%d", i)
		what := fmt.Sprintf("chord %s: ", strings.Join(ch.Buttons, " + "))
		if ch.Does != DoesMark && ch.Does != DoesPause && ch.Does != DoesTake {
			c.fail(join(path, "does"), "%sdoes %q is not known: write mark, pause or take", what, ch.Does)
		}
		if len(ch.Buttons) < 2 {
			c.fail(join(path, "buttons"), "%sa chord has two buttons or more, so that no single press is taken for it", what)
			continue
		}
		for j, b := range ch.Buttons {
			if slices.Contains(ch.Buttons[:j], b) {
				c.fail(join(path, "buttons"), "%sbutton %q is in it twice", what, b)
			}
		}
		for j := range i {
			if sameButtons(s.Chords[j].Buttons, ch.Buttons) {
				c.fail(join(path, "buttons"), "%sanother chord has the same buttons", what)
			}
		}
		c.placed(s, ch, path, what)
	}
}

// placed checks that a profile has the chord's buttons and can see them together.
func (c *checker) placed(s *Settings, ch *Chord, path, what string) {
	missing, opposed := "", false
	for i := range s.Profiles {
		p := &s.Profiles[i]
		l := p.Layout()
		var roles [5]bool
		lost := ""
		for _, b := range ch.Buttons {
			if at := l.Index(b); at >= 0 {
				roles[l.Buttons[at].Role%5] = true
			} else if lost == "" {
				lost = b
			}
		}
		both := p.Cleaning != capture.CleanNone &&
			(roles[capture.Left] && roles[capture.Right] || roles[capture.Up] && roles[capture.Down])
		if lost == "" && !both {
			return
		}
		if lost != "" && (missing == "" || p.Name == s.Profile) {
			missing = lost
		}
		opposed = opposed || both
	}
	if opposed {
		c.fail(join(path, "buttons"), "%sopposite directions are never held together: choose other buttons", what)
		return
	}
	c.fail(join(path, "buttons"), "%sno profile has all of its buttons; %q is missing", what, missing)
}

func sameButtons(a, b []string) bool {
	a, b = slices.Clone(a), slices.Clone(b)
	slices.Sort(a)
	slices.Sort(b)
	return slices.Equal(a, b)
}

// LiveChords returns the chords whose buttons the layout has, by their places in
// it; the others do nothing in this profile.
func (s *Settings) LiveChords(l capture.Layout) []live.Chord {
	var list []live.Chord
next:
	for _, ch := range s.Chords {
		out := live.Chord{Does: ch.Does}
		for _, b := range ch.Buttons {
			i := l.Index(b)
			if i < 0 {
				continue next
			}
			out.Buttons = append(out.Buttons, i)
		}
		list = append(list, out)
	}
	return list
}
