package themes

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"unicode/utf8"
)

// Kind is what kind of value a key takes.
type Kind string

// The kinds.
const (
	KindText   Kind = "text"
	KindColour Kind = "colour" // "#rrggbb"
	KindNumber Kind = "number"
	KindWhole  Kind = "whole number"
	KindWord   Kind = "word" // one of Words
)

// Field is one key of a theme file.
type Field struct {
	Key      string // "table.key"
	Kind     Kind
	Min, Max float64  // of numbers; of texts, their length in letters
	Words    []string // that a word may be; that a colour may be as well
	Unit     string
	Help     string
	at       func(*Theme) any // pointer to the value
}

// Fields lists every key of a theme file, in the order in which a file has them.
var Fields = []Field{
	textField("label", 1, 24, "the name that people read", func(t *Theme) any { return &t.Label }),
	textField("about", 0, 80, "what the theme is for", func(t *Theme) any { return &t.About }),

	colourField("colour.halo", "casing around every mark, and the plate behind every count", func(t *Theme) any { return &t.Colour.Halo }),
	colourField("colour.text", "counts over the threads, labels and words", func(t *Theme) any { return &t.Colour.Text }),
	colourField("colour.thread", "threads", func(t *Theme) any { return &t.Colour.Thread }),
	colourField("colour.mark", "knots (presses not read yet, and unseen ones) and the pegs that tell fingers apart", func(t *Theme) any { return &t.Colour.Mark }),
	colourField("colour.tick", "the hem, its ticks, and the cuts where the strip rested", func(t *Theme) any { return &t.Colour.Tick }),
	colourField("colour.bead", "beads: one for each hold", func(t *Theme) any { return &t.Colour.Bead }),
	colourField("colour.bead_text", "the count in a bead", func(t *Theme) any { return &t.Colour.BeadText }),
	colourField("colour.direction", "directions", func(t *Theme) any { return &t.Colour.Direction }),
	colourField("colour.window", "the window's bracket on the hem", func(t *Theme) any { return &t.Colour.Window }),
	colourField("colour.window_text", "the count in a bracket", func(t *Theme) any { return &t.Colour.WindowText }),
	colourField("colour.hole", "holes between brackets, and what missed", func(t *Theme) any { return &t.Colour.Hole }),
	colourField("colour.flash", "the flash when a multi-press covers its window", func(t *Theme) any { return &t.Colour.Flash }),
	colourField("colour.note", "plate of demo, paused and troubles", func(t *Theme) any { return &t.Colour.Note }),
	colourField("colour.note_text", "words on that plate", func(t *Theme) any { return &t.Colour.NoteText }),
	colourField("colour.background", "behind everything, for strips that ask for background=theme", func(t *Theme) any { return &t.Colour.Background }, "transparent"),

	numberField("size.digit", 12, 96, "px", "counts, where there is room", func(t *Theme) any { return &t.Size.Digit }),
	numberField("size.label", 0.5, 1, "of the digit", "labels and words", func(t *Theme) any { return &t.Size.Label }),
	numberField("size.thread", 1, 12, "px", "breadth of a thread", func(t *Theme) any { return &t.Size.Thread }),
	numberField("size.halo", 1.5, 8, "px", "breadth of the casing", func(t *Theme) any { return &t.Size.Halo }),

	wordField("shape.bead", "shape of a bead", func(t *Theme) any { return &t.Shape.Bead }, "barrel", "round", "facet", "square"),
	wordField("shape.plate", "shape of a plate", func(t *Theme) any { return &t.Shape.Plate }, "round", "square"),

	textField("font.family", 1, 60, "font of everything; "+Family+" comes with the program, any other must be on the viewer's system", func(t *Theme) any { return &t.Font.Family }),
	{Key: "font.weight", Kind: KindWhole, Min: 100, Max: 900, Help: "weight of the font; 400 and 700 come with the program", at: func(t *Theme) any { return &t.Font.Weight }},

	wordField("labels.case", "how labels are written", func(t *Theme) any { return &t.Labels.Case }, "as-is", "upper", "lower"),
	textField("labels.demo", 2, 16, "word shown while the performer plays", func(t *Theme) any { return &t.Labels.Demo }),
	textField("labels.replay", 2, 16, "word shown while a take is played", func(t *Theme) any { return &t.Labels.Replay }),
	textField("labels.paused", 2, 16, "word shown while input is not read", func(t *Theme) any { return &t.Labels.Paused }),

	wholeField("motion.flash_hold", 1, 30, "frames", "how long a flash stays", func(t *Theme) any { return &t.Motion.FlashHold }),
	wholeField("motion.flash_fade", 0, 60, "frames", "how long it then fades", func(t *Theme) any { return &t.Motion.FlashFade }),
}

func textField(key string, least, most float64, help string, at func(*Theme) any) Field {
	return Field{Key: key, Kind: KindText, Min: least, Max: most, Help: help, at: at}
}

func colourField(key, help string, at func(*Theme) any, words ...string) Field {
	return Field{Key: key, Kind: KindColour, Words: words, Help: help, at: at}
}

func numberField(key string, least, most float64, unit, help string, at func(*Theme) any) Field {
	return Field{Key: key, Kind: KindNumber, Min: least, Max: most, Unit: unit, Help: help, at: at}
}

func wholeField(key string, least, most float64, unit, help string, at func(*Theme) any) Field {
	return Field{Key: key, Kind: KindWhole, Min: least, Max: most, Unit: unit, Help: help, at: at}
}

func wordField(key, help string, at func(*Theme) any, words ...string) Field {
	return Field{Key: key, Kind: KindWord, Words: words, Help: help, at: at}
}

var hexColour = regexp.MustCompile(`^#[0-9a-fA-F]{6}$`)

// set puts a value read from a file into the theme, or says in words what is
// wrong with it.
func (f Field) set(t *Theme, v any) string {
	switch p := f.at(t).(type) {
	case *string:
		s, ok := v.(string)
		if !ok {
			return fmt.Sprintf("must be a %s in quotes", f.Kind)
		}
		if why := f.wrongText(s); why != "" {
			return why
		}
		if f.Kind == KindColour {
			s = strings.ToLower(s)
		}
		*p = s
	case *float64:
		n, why := f.wrongNumber(v)
		if why != "" {
			return why
		}
		*p = n
	case *int:
		n, why := f.wrongNumber(v)
		if why != "" {
			return why
		}
		*p = int(n)
	}
	if strings.HasPrefix(f.Key, "font.") {
		t.Font.URL = fontURL(t.Font.Family, t.Font.Weight)
	}
	return ""
}

func (f Field) wrongText(s string) string {
	for _, w := range f.Words {
		if s == w {
			return ""
		}
	}
	switch f.Kind {
	case KindColour:
		if !hexColour.MatchString(s) {
			also := ""
			if len(f.Words) > 0 {
				also = " or " + strings.Join(f.Words, ", ")
			}
			return `must be an opaque colour such as "#f4e3b8"` + also
		}
	case KindWord:
		return "must be " + strings.Join(f.Words[:len(f.Words)-1], ", ") + " or " + f.Words[len(f.Words)-1]
	case KindText:
		if n := utf8.RuneCountInString(s); float64(n) < f.Min || float64(n) > f.Max {
			return fmt.Sprintf("must have %g to %g letters", f.Min, f.Max)
		}
		for _, r := range s {
			if r < ' ' || r == '"' || r == '\\' || r == 0x7f {
				return "must not have control characters, quotes or backslashes"
			}
		}
	}
	return ""
}

func (f Field) wrongNumber(v any) (float64, string) {
	var n float64
	switch v := v.(type) {
	case int64:
		n = float64(v)
	case float64:
		n = v
	default:
		return 0, "must be a number without quotes"
	}
	if math.IsNaN(n) || n < f.Min || n > f.Max || (f.Kind == KindWhole && n != math.Trunc(n)) {
		return 0, fmt.Sprintf("must be a %s from %g to %g", f.Kind, f.Min, f.Max)
	}
	return n, ""
}
