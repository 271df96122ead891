package themes_test

import (
	"bytes"
	"encoding/json"
	"image/color"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"holdgap/overlay/colour"
	"holdgap/themes"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"pgregory.net/rapid"
)

func all(t testing.TB) []themes.Theme {
	var list []themes.Theme
	for _, n := range themes.Names() {
		th, err := themes.Load(themes.Builtin(), n)
		require.NoError(t, err)
		list = append(list, th)
	}
	require.GreaterOrEqual(t, len(list), 5)
	return list
}

func TestBuiltin(t *testing.T) {
	files, err := fs.Glob(themes.Builtin(), "*.toml")
	require.NoError(t, err)
	require.Len(t, themes.Names(), len(files))
	labels := map[string]bool{}
	for _, th := range all(t) {
		assert.NotEmpty(t, th.About, th.Name)
		assert.False(t, labels[th.Label], "two themes are called %s", th.Label)
		labels[th.Label] = true
		assert.Equal(t, themes.Family, th.Font.Family)
		assert.NotEmpty(t, th.Font.URL)
		assert.Empty(t, th.Shortfalls(), th.Name)
	}
}

// Each built-in file names every key, with its meaning beside it: they are what
// users copy.
func TestBuiltinDocumented(t *testing.T) {
	for _, n := range themes.Names() {
		b, err := fs.ReadFile(themes.Builtin(), n+".toml")
		require.NoError(t, err)
		table := ""
		found := map[string]bool{}
		for _, line := range strings.Split(string(b), "\n") {
			if m := regexp.MustCompile(`^\[(\w+)\]$`).FindStringSubmatch(line); m != nil {
				table = m[1] + "."
			} else if m := regexp.MustCompile(`^(\w+) = .*$`).FindStringSubmatch(line); m != nil {
				found[table+m[1]] = true
				if table != "" {
					assert.Contains(t, line, " # ", "%s: %s has no comment", n, m[1])
				}
			}
		}
		for _, f := range themes.Fields {
			assert.True(t, found[f.Key], "%s: %s is missing", n, f.Key)
		}
		assert.Len(t, found, len(themes.Fields), n)
	}
}

// WCAG 2.2: text 4.5 (SC 1.4.3, the stricter value for text that is not large),
// marks 3 (SC 1.4.11), over black, white and mid grey behind the strip, and the
// same for three ways of seeing colours (matrices: Machado, Oliveira and
// Fernandes 2009, severity 1, in package colour).
func TestContrast(t *testing.T) {
	n := 0
	for _, th := range all(t) {
		for _, scene := range []color.NRGBA{{0, 0, 0, 255}, {255, 255, 255, 255}, {128, 128, 128, 255}} {
			for _, p := range th.Pairs() {
				fore, err := colour.Parse(p.Fore)
				require.NoError(t, err)
				back, err := colour.Parse(p.Back)
				require.NoError(t, err)
				// Both are laid over the scene: only opaque colours stay what they are.
				back = colour.Over(back, scene)
				fore = colour.Over(fore, back)
				for _, v := range colour.Visions {
					c := colour.Contrast(v.See(colour.Of(fore)), v.See(colour.Of(back)))
					assert.GreaterOrEqual(t, c, p.Least(), "%s: %s, %s, over %v", th.Name, p.What, v, scene)
					n++
				}
			}
		}
	}
	require.Greater(t, n, 500)
}

// The pairs name every colour of a theme but the background, so that none
// escapes the test of contrast.
func TestPairsComplete(t *testing.T) {
	th := all(t)[0]
	v := reflect.ValueOf(&th.Colour).Elem()
	for i := range v.NumField() {
		v.Field(i).SetString("#0000" + []string{"01", "02", "03", "04", "05", "06", "07", "08", "09", "0a", "0b", "0c", "0d", "0e", "0f"}[i])
	}
	used := map[string]bool{}
	for _, p := range th.Pairs() {
		used[p.Fore], used[p.Back] = true, true
	}
	for i := range v.NumField() {
		name := v.Type().Field(i).Name
		assert.Equal(t, name != "Background", used[v.Field(i).String()], name)
	}
}

// On a chroma key nothing may be of the key's hue: every colour is more than 60°
// of hue from it or has next to no saturation. The 60° is ours.
func TestChromaKey(t *testing.T) {
	th, err := themes.Load(themes.Builtin(), "meadow")
	require.NoError(t, err)
	assert.Zero(t, th.Motion.FlashFade, "a fading flash would let the key through")
	key, err := colour.Parse(th.Colour.Background)
	require.NoError(t, err)
	assert.Greater(t, int(key.G), 2*int(max(key.R, key.B))-100)
	for _, p := range th.Pairs() {
		for _, s := range []string{p.Fore, p.Back} {
			c, err := colour.Parse(s)
			require.NoError(t, err)
			assert.False(t, c.G > c.R && c.G > c.B, "%s is greenish", s)
		}
	}
}

func TestProblems(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"label = 'x'\n[colour]\nhalo = '#12345'\n", `mine.toml:3: colour.halo = "#12345": must be an opaque colour such as "#f4e3b8"`},
		{"[colour]\nhalo = '#12345678'\n", `mine.toml:2: colour.halo = "#12345678": must be an opaque colour`},
		{"[colour]\n\n# a comment\nbeed = '#000000'\n", `mine.toml:4: key "colour.beed" is not known: did you mean colour.bead?`},
		{"[size]\ndigit = 1000\n", `mine.toml:2: size.digit = 1000: must be a number from 12 to 96`},
		{"[size]\ndigit = nan\n", `mine.toml:2: size.digit = NaN: must be a number from 12 to 96`},
		{"[size]\ndigit = '30'\n", `mine.toml:2: size.digit = "30": must be a number without quotes`},
		{"[shape]\nbead = 'star'\n", `mine.toml:2: shape.bead = "star": must be barrel, round, facet or square`},
		{"[motion]\nflash_hold = 2.5\n", `mine.toml:2: motion.flash_hold = 2.5: must be a whole number from 1 to 30`},
		{"[font]\nfamily = 'a\\\"b\"'\n", `mine.toml:2: font.family`},
		{"[extra]\n", `mine.toml:1: table [extra] is not known`},
		{"label = 7\n", `mine.toml:1: label = 7: must be a text in quotes`},
		{"size = 3\n", `mine.toml:1: key "size" is not known`},
		{"label = \n", `mine.toml:1: is not TOML`},
		{"[colour\nhalo=1", `mine.toml:2: is not TOML`},
		{"label = 'a'\nlabel = 'b'\n", `mine.toml:2: is not TOML`},
	} {
		_, err := themes.Parse("mine.toml", []byte(c.text))
		if assert.Error(t, err, c.text) {
			assert.Contains(t, err.Error(), c.want, c.text)
			assert.NotEmpty(t, themes.Problems(err))
		}
	}
	_, err := themes.Parse("mine.toml", []byte("[size]\ndigit = 1\nlabel = 9\n[shape]\nbead = ''\n"))
	require.Len(t, themes.Problems(err), 3, "every problem is told at once")
	assert.Equal(t, []int{2, 3, 5}, []int{themes.Problems(err)[0].Line, themes.Problems(err)[1].Line, themes.Problems(err)[2].Line})
	_, err = themes.Parse("My Theme.toml", nil)
	assert.ErrorContains(t, err, `cannot be named "My Theme"`)
	_, err = themes.Parse("big.toml", bytes.Repeat([]byte("#"), themes.MaxSize+1))
	assert.ErrorContains(t, err, "bytes long")
	_, err = themes.Load(themes.Builtin(), "../fonts/OFL")
	assert.ErrorIs(t, err, fs.ErrNotExist)
}

func TestParseTakesDefaults(t *testing.T) {
	th, err := themes.Parse("sub/mine.toml", []byte("label = 'Mine'\n[colour]\nbead = '#ABCDEF'\n[font]\nfamily = 'Some Font'\n"))
	require.NoError(t, err)
	std, err := themes.Load(themes.Builtin(), themes.Standard)
	require.NoError(t, err)
	want := std
	want.Name, want.Label, want.Colour.Bead = "mine", "Mine", "#abcdef"
	want.Font.Family, want.Font.URL = "Some Font", ""
	assert.Equal(t, want, th)

	var back themes.Theme
	require.NoError(t, json.Unmarshal(th.JSON(), &back))
	assert.Equal(t, th, back)
}

// Whatever a file says, reading it ends with a theme whose every value lies in
// its bounds, or with problems; it never panics.
func FuzzParse(f *testing.F) {
	for _, n := range themes.Names() {
		b, err := fs.ReadFile(themes.Builtin(), n+".toml")
		require.NoError(f, err)
		f.Add(string(b))
	}
	f.Add("[colour]\nhalo.x = 1\n[[size]]\n")
	f.Add("\"colour\".'halo' = \"#000000\"")
	f.Fuzz(func(t *testing.T, text string) {
		th, err := themes.Parse("fuzz.toml", []byte(text))
		if err != nil {
			require.NotEmpty(t, themes.Problems(err), "%v", err)
			return
		}
		th.Shortfalls() // every colour can be measured
		require.True(t, th.Size.Digit >= 12 && th.Size.Digit <= 96)
	})
}

// A theme written as a file reads back as itself.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		hex := rapid.StringMatching(`#[0-9a-f]{6}`)
		want := map[string]string{}
		b.WriteString("[colour]\n")
		for _, f := range themes.Fields {
			if f.Kind == themes.KindColour && rapid.Bool().Draw(t, "given") {
				want[f.Key] = hex.Draw(t, f.Key)
				b.WriteString(strings.TrimPrefix(f.Key, "colour.") + " = '" + want[f.Key] + "'\n")
			}
		}
		th, err := themes.Parse("x.toml", []byte(b.String()))
		if err != nil {
			t.Fatal(err)
		}
		var m map[string]any
		if err := json.Unmarshal(th.JSON(), &m); err != nil {
			t.Fatal(err)
		}
		for k, v := range want {
			if got := m["colour"].(map[string]any)[strings.TrimPrefix(k, "colour.")]; got != v {
				t.Fatalf("%s: %v, want %s", k, got, v)
			}
		}
	})
}

// The font reads as x/image/font/opentype wants it after unpacking, has digits of
// one width (OpenType feature tnum), and every sign that the strip writes.
func TestFont(t *testing.T) {
	for _, w := range []int{400, 700} {
		b, err := fs.ReadFile(themes.Fonts(), themes.FontFile(w))
		require.NoError(t, err)
		ttf, err := unpackWOFF(b)
		require.NoError(t, err)
		f, err := opentype.Parse(ttf)
		require.NoError(t, err)
		var buf sfnt.Buffer
		width := func(r rune) {
			g, err := f.GlyphIndex(&buf, r)
			require.NoError(t, err)
			require.NotZero(t, g, "no glyph for %q", r)
			a, err := f.GlyphAdvance(&buf, g, fixed.I(1000), 0)
			require.NoError(t, err)
			require.Positive(t, a)
		}
		assert.Contains(t, string(ttf), "tnum")
		for _, r := range "0123456789×~?…·+-−abcdefghijklmnopqrstuvwxyz" {
			width(r)
		}
	}
	b, err := fs.ReadFile(themes.Fonts(), "OFL.txt")
	require.NoError(t, err)
	assert.Contains(t, string(b), "SIL OPEN FONT LICENSE")
}

func TestStoreReload(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "themes")
	s := themes.NewStore(dir)
	assert.Equal(t, 1, s.Rev())
	assert.Equal(t, themes.Standard, s.List()[0].Name)
	assert.False(t, s.Reload())
	require.NoError(t, os.Mkdir(dir, 0o755))
	file := filepath.Join(dir, "mine.toml")
	require.NoError(t, os.WriteFile(file, []byte("label = 'Mine'\n"), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("no theme"), 0o644))
	assert.True(t, s.Reload())
	assert.Equal(t, 2, s.Rev())
	th, ok := s.Get("mine")
	require.True(t, ok)
	assert.Equal(t, "Mine", th.Label)

	// A file that is wrong for a while keeps its last good version.
	require.NoError(t, os.WriteFile(file, []byte("label = \n"), 0o644))
	assert.True(t, s.Reload())
	th, ok = s.Get("mine")
	require.True(t, ok)
	assert.Equal(t, "Mine", th.Label)
	require.Len(t, s.Troubles(), 1)
	assert.Equal(t, file, s.Troubles()[0].File)
	assert.Equal(t, 1, s.Troubles()[0].Line)

	// A file may take the place of a built-in theme; without it that is back.
	require.NoError(t, os.WriteFile(filepath.Join(dir, "lantern.toml"), []byte("label = 'My lantern'\n"), 0o644))
	require.NoError(t, os.Remove(file))
	assert.True(t, s.Reload())
	assert.Equal(t, "My lantern", s.List()[0].Label)
	assert.False(t, s.List()[0].Builtin)
	_, ok = s.Get("mine")
	assert.False(t, ok)
	assert.Empty(t, s.Troubles())
	require.NoError(t, os.RemoveAll(dir))
	assert.True(t, s.Reload())
	assert.Equal(t, "Lantern", s.List()[0].Label)
}
