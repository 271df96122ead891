// Package report writes one page about one or more takes: numbers, plots, tables,
// how they came about, and what they cannot say. The page is a single HTML file
// that asks nobody for anything; it prints well, and on a screen follows the
// preference for light or dark.
//
// Everything here is pure: structs in, bytes out; no analysis, no clock, no file.
package report

import (
	"bufio"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"holdgap/overlay/frame"
	"holdgap/overlay/review"
)

// Report is what a page tells.
type Report struct {
	Title string
	Made  time.Time // when the page was made
	Takes []Take    // at least one
	// Regular and Bold are the fonts of the page as WOFF; without them the reader's
	// own font stands in.
	Regular, Bold []byte
}

// Take is one take of a report.
type Take struct {
	Name    string
	Start   time.Time // zero if unknown
	Seconds float64
	Profile string
	Devices []string
	Demo    bool // the performer played, not a person

	Rate     frame.Rate
	Read     frame.ReadRule
	Phase    *float64 // ms, nil if unknown
	ReportMS float64  // widest report interval of the devices, 0 if unknown
	Window   frame.Frame
	Target   string
	Rules    string // in short
	Anchored bool   // attempts were judged, beside the multi-presses
	Starter  string
	Opening  frame.Frame
	Tried    bool // judged otherwise than it was recorded

	Summary review.Summary
	Marks   []Mark
	Notes   []string // what was lost, and other cautions
}

// Mark is a moment with a note.
type Mark struct {
	Seconds float64 // from the take's first moment
	Text    string
}

//go:embed page.html page.css
var files embed.FS

// most of each kind that a page shows.
const (
	mostPatterns = 24
	mostMarks    = 200
	mostButtons  = 6 // with plots of their lengths
	trendParts   = 32
)

// Write writes the page.
func Write(w io.Writer, r Report) error {
	if len(r.Takes) == 0 {
		return fmt.Errorf("writing a report: there is no take to tell of: name at least one")
	}
	css, err := files.ReadFile("page.css")
	if err != nil {
		return fmt.Errorf("writing a report: %w", err)
	}
	t, err := template.New("page.html").Funcs(funcs).ParseFS(files, "page.html")
	if err != nil {
		return fmt.Errorf("writing a report: %w", err)
	}
	data := struct {
		Report
		CSS  template.CSS
		Over template.HTML
	}{Report: r, CSS: template.CSS(face(r.Regular, 400) + face(r.Bold, 700) + string(css))}
	if len(r.Takes) > 1 {
		data.Over = overTakes(r.Takes)
	}
	out := bufio.NewWriter(w)
	if err := t.Execute(out, data); err != nil {
		return fmt.Errorf("writing a report: %w", err)
	}
	return out.Flush()
}

// face is the rule that brings a font along.
func face(woff []byte, weight int) string {
	if len(woff) == 0 {
		return ""
	}
	return fmt.Sprintf("@font-face{font-family:\"Report\";font-weight:%d;src:url(data:font/woff;base64,%s) format(\"woff\")}\n",
		weight, base64.StdEncoding.EncodeToString(woff))
}

var funcs = template.FuncMap{
	"clock":    clock,
	"percent":  percent,
	"word":     word,
	"date":     date,
	"join":     func(s []string) string { return strings.Join(s, ", ") },
	"interval": interval,
	"trend":    trend,
	"lengths":  lengths,
	"shown":    shown,
	"spacings": func(s []frame.Frame) string {
		var w []string
		for _, f := range s {
			w = append(w, fmt.Sprint(int64(f)))
		}
		return strings.Join(w, " ")
	},
	"patterns": func(s review.Summary) []review.Pattern { return s.Multis[:min(len(s.Multis), mostPatterns)] },
	"marks":    func(t Take) []Mark { return t.Marks[:min(len(t.Marks), mostMarks)] },
	"ms":       func(v float64) string { return fmt.Sprintf("%.1f", v) },
	"frameMS":  func(r frame.Rate) string { return fmt.Sprintf("%.3f", r.FrameNS()/1e6) },
	"main":     mainRate,
	"inc":      func(i int) int { return i + 1 },
	"used": func(s review.Summary) (out []review.Button) {
		for _, b := range s.Buttons {
			if b.Presses+b.Unseen > 0 {
				out = append(out, b)
			}
		}
		return out
	},
}

// mainRate is the rate that a take is compared by: of hits where attempts were
// judged, else of multi-presses that covered.
func mainRate(t Take) review.Rate {
	if t.Anchored && len(t.Summary.Outcomes) > 0 {
		return t.Summary.Outcomes[0]
	}
	if len(t.Summary.Verdicts) > 0 {
		return t.Summary.Verdicts[0]
	}
	return review.Rate{Kind: "covered", High: 1}
}

// shown are the buttons whose lengths are plotted: those pressed most.
func shown(s review.Summary) []review.Button {
	var out []review.Button
	for _, b := range s.Buttons {
		if b.Presses < 5 {
			continue
		}
		i := len(out)
		for i > 0 && out[i-1].Presses < b.Presses {
			i--
		}
		out = append(out[:i], append([]review.Button{b}, out[i:]...)...)
	}
	return out[:min(len(out), mostButtons)]
}

var words = map[string]string{"hit": "hit", "early": "too early", "late": "too late", "straddled": "straddled", "unheld": "let go too soon",
	"covered": "covered without a hole", "holed": "with a hole", "none": "did not help", "mashed": "mashed"}

func word(kind string) string {
	if w, ok := words[kind]; ok {
		return w
	}
	if kind == "" {
		return "not judged"
	}
	return kind
}

func percent(v float64) string {
	if v > 0 && v < 0.1 {
		return fmt.Sprintf("%.1f %%", 100*v)
	}
	return fmt.Sprintf("%.0f %%", 100*v)
}

func date(t time.Time) string {
	if t.IsZero() {
		return "no date"
	}
	return t.Format("2 January 2006, 15:04")
}

func clock(s float64) string {
	t := int64(s*10 + 0.5)
	h, m, sec := t/36000, t/600%60, float64(t%600)/10
	if h > 0 {
		return fmt.Sprintf("%d:%02d:%04.1f", h, m, sec)
	}
	return fmt.Sprintf("%d:%04.1f", m, sec)
}
