// Package themes reads what a strip wears: theme files, the built-in themes and
// the font that they share.
//
// A theme is a TOML file; its name is the file's name without ".toml". [Fields]
// lists every key with its meaning, so that a file, its check and the manual
// cannot drift apart. A key that is left out has the value of the built-in theme
// named [Standard]. Colours are opaque, and everything drawn stands on the halo
// colour: so whether a theme can be read does not depend on the scene behind it,
// and [Theme.Pairs] lists all that has to be told apart.
package themes

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"
	"regexp"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
)

// Standard is the name of the theme that a strip wears when none is chosen.
const Standard = "lantern"

// MaxSize is the greatest size of a theme file, in bytes.
const MaxSize = 64 << 10

// Theme is one theme, valid and complete. Make it with [Parse] or [Load].
type Theme struct {
	Name   string `json:"name"`   // the file's name without ".toml"
	Label  string `json:"label"`  // the name that people read
	About  string `json:"about"`  // what it is for
	Colour Colour `json:"colour"` // "#rrggbb"
	Size   Size   `json:"size"`
	Shape  Shape  `json:"shape"`
	Font   Font   `json:"font"`
	Labels Labels `json:"labels"`
	Motion Motion `json:"motion"`
}

// Colour holds a theme's colours, each "#rrggbb"; Background may be "transparent".
type Colour struct {
	Halo       string `json:"halo"`
	Text       string `json:"text"`
	Thread     string `json:"thread"`
	Mark       string `json:"mark"`
	Tick       string `json:"tick"`
	Bead       string `json:"bead"`
	BeadText   string `json:"bead_text"`
	Direction  string `json:"direction"`
	Window     string `json:"window"`
	WindowText string `json:"window_text"`
	Hole       string `json:"hole"`
	Flash      string `json:"flash"`
	Note       string `json:"note"`
	NoteText   string `json:"note_text"`
	Background string `json:"background"`
}

// Size holds a theme's sizes at scale 1.
type Size struct {
	Digit  float64 `json:"digit"`  // px
	Label  float64 `json:"label"`  // part of Digit
	Thread float64 `json:"thread"` // px
	Halo   float64 `json:"halo"`   // px
}

// Shape holds the shapes of beads and plates.
type Shape struct {
	Bead  string `json:"bead"`  // barrel, round, facet, square
	Plate string `json:"plate"` // round, square
}

// Font names the font; URL is where a page of the program finds its file, empty
// for a font of the viewer's own system.
type Font struct {
	Family string `json:"family"`
	Weight int    `json:"weight"`
	URL    string `json:"url"`
}

// Labels holds how labels are written.
type Labels struct {
	Case   string `json:"case"` // as-is, upper, lower
	Demo   string `json:"demo"`
	Replay string `json:"replay"`
	Paused string `json:"paused"`
}

// Motion holds the times of a flash.
type Motion struct {
	FlashHold int `json:"flash_hold"` // frames
	FlashFade int `json:"flash_fade"` // frames
}

// JSON returns the theme as the pages read it.
func (t Theme) JSON() []byte {
	b, err := json.Marshal(t)
	if err != nil {
		panic(err) // strings and finite numbers only
	}
	return b
}

// Problem is something wrong in a theme file. Line counts from 1; 0 where no one
// line is to blame.
type Problem struct {
	File   string
	Line   int
	Reason string
}

// Error returns FILE:LINE: REASON.
func (p Problem) Error() string {
	if p.Line == 0 {
		return fmt.Sprintf("%s: %s", p.File, p.Reason)
	}
	return fmt.Sprintf("%s:%d: %s", p.File, p.Line, p.Reason)
}

var namePattern = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,39}$`)

// ValidName reports whether a theme can have this name: small letters, digits,
// - and _, at most 40.
func ValidName(name string) bool { return namePattern.MatchString(name) }

// Parse reads a theme from the text of the named file. The error joins every
// [Problem] found, in the order of lines.
func Parse(file string, data []byte) (Theme, error) {
	t := standard()
	return parse(file, data, t)
}

func parse(file string, data []byte, t Theme) (Theme, error) {
	t.Name = strings.TrimSuffix(path.Base(strings.ReplaceAll(file, `\`, "/")), ".toml")
	if !ValidName(t.Name) {
		return Theme{}, Problem{file, 0, fmt.Sprintf("a theme cannot be named %q: use small letters, digits, - and _, at most 40", t.Name)}
	}
	if len(data) > MaxSize {
		return Theme{}, Problem{file, 0, fmt.Sprintf("is %d bytes long; a theme file may have %d at most", len(data), MaxSize)}
	}
	var raw map[string]any
	if _, err := toml.Decode(string(data), &raw); err != nil {
		var pe toml.ParseError
		if errors.As(err, &pe) {
			return Theme{}, Problem{file, pe.Position.Line, "is not TOML: " + pe.Message}
		}
		return Theme{}, Problem{file, 0, "is not TOML: " + err.Error()}
	}
	lines := keyLines(string(data))
	var problems []Problem
	bad := func(key, format string, a ...any) {
		problems = append(problems, Problem{file, lines[key], fmt.Sprintf(format, a...)})
	}
	values := map[string]any{}
	for k, v := range raw {
		if table, ok := v.(map[string]any); ok {
			for kk, vv := range table {
				values[k+"."+kk] = vv
			}
			if len(table) == 0 && !knownTable(k) {
				bad(k, "table [%s] is not known: %s", k, tables())
			}
			continue
		}
		values[k] = v
	}
	for key, v := range values {
		i := slices.IndexFunc(Fields, func(f Field) bool { return f.Key == key })
		if i < 0 {
			bad(key, "key %q is not known%s", key, nearest(key))
			continue
		}
		if why := Fields[i].set(&t, v); why != "" {
			bad(key, "%s = %s: %s", key, quote(v), why)
		}
	}
	if len(problems) == 0 {
		return t, nil
	}
	slices.SortFunc(problems, func(a, b Problem) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return strings.Compare(a.Reason, b.Reason)
	})
	errs := make([]error, len(problems))
	for i, p := range problems {
		errs[i] = p
	}
	return Theme{}, errors.Join(errs...)
}

// Problems returns the problems that an error of [Parse] joins.
func Problems(err error) []Problem {
	var p Problem
	if errors.As(err, &p) {
		if many, ok := err.(interface{ Unwrap() []error }); ok {
			var all []Problem
			for _, e := range many.Unwrap() {
				all = append(all, Problems(e)...)
			}
			return all
		}
		return []Problem{p}
	}
	return nil
}

// keyLines finds the line of each key of a valid TOML text, by "table.key". A
// theme has no deeper tables; keys in other notations than ours have no line.
func keyLines(text string) map[string]int {
	lines := map[string]int{}
	table := ""
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "[") {
			table = strings.Trim(strings.TrimSpace(strings.SplitN(strings.TrimLeft(line, "["), "]", 2)[0]), `"'`)
			lines[table] = i + 1
			table += "."
			continue
		}
		key, _, ok := strings.Cut(line, "=")
		if !ok || strings.HasPrefix(line, "#") {
			continue
		}
		key = table + strings.Trim(strings.TrimSpace(key), `"'`)
		if _, twice := lines[key]; !twice {
			lines[key] = i + 1
		}
	}
	return lines
}

func quote(v any) string {
	s := fmt.Sprintf("%v", v)
	if t, ok := v.(string); ok {
		s = fmt.Sprintf("%q", t)
	}
	if r := []rune(s); len(r) > 60 {
		s = string(r[:59]) + "…"
	}
	return s
}

func knownTable(name string) bool {
	return slices.ContainsFunc(Fields, func(f Field) bool { return strings.HasPrefix(f.Key, name+".") })
}

func tables() string {
	var all []string
	for _, f := range Fields {
		if t, _, ok := strings.Cut(f.Key, "."); ok && !slices.Contains(all, t) {
			all = append(all, t)
		}
	}
	return "there are " + strings.Join(all, ", ")
}

// nearest suggests the known key that differs from this one by the fewest letters.
func nearest(key string) string {
	best, least := "", math.MaxInt
	for _, f := range Fields {
		if d := distance(key, f.Key); d < least {
			best, least = f.Key, d
		}
	}
	if least <= 3 {
		return fmt.Sprintf(": did you mean %s?", best)
	}
	return "; holdgap theme show " + Standard + " prints a file with every key"
}

// distance is the Levenshtein distance of two short keys.
func distance(a, b string) int {
	if len(a) > 60 {
		return math.MaxInt
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		prev := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := prev
			if a[i-1] != b[j-1] {
				cost++
			}
			prev = row[j]
			row[j] = min(cost, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}

// Load reads the named theme from a folder. The error says if there is none
// ([fs.ErrNotExist]).
func Load(dir fs.FS, name string) (Theme, error) {
	if !ValidName(name) {
		return Theme{}, fmt.Errorf("a theme cannot be named %q: use small letters, digits, - and _: %w", name, fs.ErrNotExist)
	}
	file := name + ".toml"
	info, err := fs.Stat(dir, file)
	if err != nil {
		return Theme{}, fmt.Errorf("reading theme %q: %w", name, err)
	}
	if info.Size() > MaxSize {
		return Theme{}, Problem{file, 0, fmt.Sprintf("is %d bytes long; a theme file may have %d at most", info.Size(), MaxSize)}
	}
	data, err := fs.ReadFile(dir, file)
	if err != nil {
		return Theme{}, fmt.Errorf("reading theme %q: %w", name, err)
	}
	return Parse(file, data)
}
