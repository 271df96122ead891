package settings_test

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/web/settings"
)

func parse(t require.TestingT, text string) *settings.File {
	f, err := settings.Parse("settings.toml", []byte(text))
	require.NoError(t, err, text)
	return f
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSettings(t)
		require.NoError(t, s.Check())
		text, err := settings.Format("", s)
		require.NoError(t, err)
		f := parse(t, text)
		require.Equal(t, s, f.Settings, text)
		require.Empty(t, f.Unknown)
		again, err := settings.Format(text, s)
		require.NoError(t, err)
		require.Equal(t, text, again)
	})
}

// embellish writes comments and unknown keys into a file as people do.
func embellish(t *rapid.T, text string) (out string, comments, keys int) {
	var b strings.Builder
	header := ""
	for i, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		if strings.HasPrefix(line, "[") {
			header = line
		}
		switch rapid.IntRange(0, 5).Draw(t, "line") {
		case 0:
			fmt.Fprintf(&b, "# own %d\n\n", i)
			comments++
		case 1:
			if line != "" && !strings.HasPrefix(line, "#") {
				line += fmt.Sprintf("  # beside %d", i)
			}
		case 2:
			b.WriteString("  \n")
		case 3:
			if strings.Contains(line, " = ") && header != "[strip.options]" { // any key is known there
				fmt.Fprintf(&b, "later_%d = [1, {a = 'x'}, # odd\n 2979-05-27]\n", i)
				keys++
			}
		}
		b.WriteString(line + "\n")
	}
	return b.String(), comments, keys
}

// Whatever is changed, the file says the new settings and nothing else changed
// that it said before; a file whose settings stay is not changed by a byte.
func TestEditedByHand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSettings(t)
		text, err := settings.Format("", s)
		require.NoError(t, err)
		text, _, keys := embellish(t, text)
		if rapid.Bool().Draw(t, "crlf") {
			text = strings.ReplaceAll(text, "\n", "\r\n")
		}
		f := parse(t, text)
		require.Equal(t, s, f.Settings, text)
		require.Len(t, f.Unknown, keys)
		same, err := settings.Format(text, s)
		require.NoError(t, err)
		require.Equal(t, text, same)

		next := change(t, s)
		if next.Check() != nil {
			return
		}
		changed, err := settings.Format(text, next)
		require.NoError(t, err, text)
		f = parse(t, changed)
		require.Equal(t, next, f.Settings, changed)
		// Comments that stand for themselves stay, apart from those inside of what
		// is gone: a table that is gone can hold some.
		if !lost(s, next) {
			require.Len(t, f.Unknown, keys, changed)
			for _, line := range strings.Split(text, "\n") {
				if strings.HasPrefix(line, "# own") {
					require.Contains(t, changed, strings.TrimRight(line, "\r"))
				}
			}
		}
		if strings.Contains(text, "\r\n") {
			require.Equal(t, strings.Count(changed, "\n"), strings.Count(changed, "\r\n"))
		}
	})
}

// lost reports whether a change may have taken a table out: one whose name is
// gone and that was not just renamed in its place.
func lost(a, b settings.Settings) bool {
	if len(b.Strip.Options) < len(a.Strip.Options) || len(b.Chords) != len(a.Chords) {
		return true
	}
	at := map[string]int{}
	for i, p := range b.Profiles {
		at[p.Name] = i
	}
	moved := 0
	for i, p := range a.Profiles {
		j, ok := at[p.Name]
		if !ok && (len(a.Profiles) != len(b.Profiles) || moved > 0) {
			return true
		}
		if !ok {
			j = i
		} else if i != j {
			moved++
		}
		if len(b.Profiles[j].Targets) < len(p.Targets) || len(b.Profiles[j].Buttons) < len(p.Buttons) {
			return true
		}
	}
	for i, p := range a.Profiles { // a renamed one that was moved as well
		if _, ok := at[p.Name]; !ok && moved > 0 {
			return i >= 0
		}
	}
	return false
}

// A file as somebody writes it who likes other forms of TOML, and what a few
// changes make of it.
func TestForms(t *testing.T) {
	text, err := os.ReadFile("testdata/byhand.toml")
	require.NoError(t, err)
	want, err := os.ReadFile("testdata/byhand-changed.toml")
	require.NoError(t, err)
	f := parse(t, string(text))
	require.Equal(t, []string{"studio", "profile_for.0.seat"}, paths(f.Unknown))
	require.Equal(t, 15, f.Unknown[1].Line)
	s := f.Settings
	require.Equal(t, "60", s.Profiles[0].Rate.String(), "a number will do for a rate")
	require.Equal(t, 10, s.Takes.RingMinutes)
	same, err := settings.Format(string(text), s)
	require.NoError(t, err)
	require.Equal(t, string(text), same)

	s.Strip.Theme = "lantern"
	s.Strip.Options["streak"] = "1"
	p := &s.Profiles[0]
	p.Window = 4
	p.Buttons[1].Keys = []string{"east", "tr"}
	p.Targets[0].Link.Buffer = 3
	p.Targets[0].Button = "punch"
	p.Targets = append(p.Targets, settings.Target{Name: "free", Frames: 2})
	s.Profiles[1].Name = "other"
	got, err := settings.Format(string(text), s)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
	require.Equal(t, s, parse(t, got).Settings)
}

func paths(list settings.Problems) (out []string) {
	for _, p := range list {
		out = append(out, p.Path)
	}
	return out
}

// FuzzParse: nothing crashes the loader; what it takes is written so that it
// reads the same, without a byte changed; and whatever is changed then, keys that
// are not known stay.
func FuzzParse(f *testing.F) {
	byhand, _ := os.ReadFile("testdata/byhand.toml")
	f.Add(string(byhand))
	for _, s := range []string{"", "version = 1", "version = 2", "profile_for = [{name='a', window = 1}, {name='b'}]",
		"[[profile_for]]\nname = \"a\"\n[profile_for.\"x.y\"]\nz = 1 # c", "strip.theme = 'jet'\nstrip.options.a = 'b'",
		"takes = {ring_minutes = 3}", "[strip.options]\na='b'\n[strip]\ntheme='jet'", "x = \"\"\"\n[a]\n\"\"\"\"\"\n", "[[[[", "a = [\n[ # ]\n]]", "\xff", "a.b.c = 1\na.b.d = {}", "[strip.0]\n[strip]\n1=''"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		file, err := settings.Parse("f.toml", []byte(text))
		if err != nil {
			var list settings.Problems
			require.True(t, errors.As(err, &list))
			require.NotEmpty(t, list)
			require.NotEmpty(t, list.Error())
			return
		}
		s := file.Settings
		if strings.TrimSpace(text) == "" {
			return
		}
		out, err := settings.Format(text, s)
		if err == nil {
			require.Equal(t, s, parse(t, out).Settings)
		}
		s.Takes.RingMinutes = 120 - s.Takes.RingMinutes
		s.Profiles = append(s.Profiles, settings.DefaultProfile("fuzzed"))
		if s = s.Clone(); s.Check() != nil {
			return
		}
		if out, err = settings.Format(text, s); err != nil {
			require.ErrorContains(t, err, "cannot be changed without touching")
			return
		}
		again := parse(t, out)
		require.Equal(t, s, again.Settings)
		require.ElementsMatch(t, paths(file.Unknown), paths(again.Unknown)) // their order may change with that of tables
		var before, after map[string]any
		_, err = toml.Decode(text, &before)
		require.NoError(t, err)
		_, err = toml.Decode(out, &after)
		require.NoError(t, err)
		for _, p := range file.Unknown {
			if !strings.Contains(p.Path, ".") {
				require.Equal(t, before[p.Path], after[p.Path])
			}
		}
	})
}
