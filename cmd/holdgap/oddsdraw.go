package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"holdgap/overlay/frame"
	"holdgap/overlay/odds"
	"holdgap/overlay/window"
)

const (
	oddsMost  = 12 // readings listed as text
	oddsBoxes = 32 // frames drawn of one reading
)

// text returns the answer as text, each reading with its frames as boxes.
func (f *oddsFlags) text(r *oddsReport) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s frames a second, %s", f.model.Clock.Rate(), f.model.Rule)
	if f.model.Fixed {
		fmt.Fprintf(&b, ", polled at %s ms", odds.Milliseconds(f.model.Clock.Phase()))
	} else {
		b.WriteString(", phase unknown")
	}
	if f.model.Report > 0 {
		fmt.Fprintf(&b, ", reported every %s ms", odds.Milliseconds(f.model.Report))
	}
	b.WriteString("\n\n")

	shown := r.Patterns[:min(len(r.Patterns), oddsMost)]
	wide := 0
	for i := range shown {
		wide = max(wide, len([]rune(boxes(&shown[i]))))
	}
	left := 1.0
	for i := range shown {
		p := &shown[i]
		left -= p.Probability
		fmt.Fprintf(&b, "%s  %-*s  %s\n", percent(p.Probability), wide, boxes(p), patternText(p))
	}
	if n := len(r.Patterns) - len(shown); n > 0 {
		fmt.Fprintf(&b, "%s  %d more\n", percent(max(left, 0)), n)
	}

	b.WriteString("\nNumber by number (? is not sure: below 90 %)\n")
	for i, p := range f.presses {
		if i > 0 {
			up := f.presses[i-1].Up
			f.single(&b, "gap", p.Down-up, func(k frame.Frame) float64 { return f.model.GapProbability(up, p.Down, k) }, "merged")
		}
		f.single(&b, "hold", p.Up-p.Down, func(k frame.Frame) float64 { return f.model.HoldProbability(p.Down, p.Up, k) }, "unseen")
	}
	if f.haveWindow {
		b.WriteByte('\n')
		f.windowText(&b, r)
	}
	if r.Note != "" {
		fmt.Fprintf(&b, "\n%s\n", wrap(r.Note, 78))
	}
	return b.String()
}

// single writes what one number may read as, most likely first.
func (f *oddsFlags) single(b *strings.Builder, name string, ns int64, p func(frame.Frame) float64, zero string) {
	whole, _ := f.model.Clock.Length(ns)
	reach, _ := f.model.Clock.Length(f.model.Report)
	best, at := 0.0, frame.Frame(0)
	var parts []string
	for k := max(whole-reach-2, 0); k <= whole+reach+3; k++ {
		v := p(k)
		if v > best {
			best, at = v, k
		}
		if v >= 0.0005 {
			word := fmt.Sprint(k)
			if k == 0 {
				word = zero
			}
			parts = append(parts, fmt.Sprintf("%s %s", word, strings.TrimSpace(percent(v))))
		}
	}
	mark := ""
	if !odds.Sure(best) {
		mark = "?"
	}
	fmt.Fprintf(b, "  %-4s %9s ms  %3d%-1s  %s\n", name, odds.Milliseconds(ns), at, mark, strings.Join(parts, ", "))
}

// windowText writes what the window verdicts come to.
func (f *oddsFlags) windowText(b *strings.Builder, r *oddsReport) {
	w := frame.Frame(f.window)
	if w <= 0 {
		fmt.Fprintf(b, "No link: %s short.\n", window.Frames(1-w))
		return
	}
	fmt.Fprintf(b, "Covers a window of %s without a hole: %s (%s)\n", window.Frames(w), strings.TrimSpace(percent(*r.CoveredProbability)), f.rules)
	for _, c := range r.covers {
		holes := "no hole"
		if c.Holes > 0 {
			holes = plural(c.Holes, "hole", "holes")
		}
		if c.Covered == 0 {
			fmt.Fprintf(b, "%s  nothing covered\n", percent(c.Probability))
			continue
		}
		fmt.Fprintf(b, "%s  %s, %s\n", percent(c.Probability), window.Starts(c.Covered), holes)
	}
	if f.anchored {
		fmt.Fprintf(b, "\nThe window opens %s after the starter: hit %s\n", window.Frames(frame.Frame(f.opens)), strings.TrimSpace(percent(*r.HitProbability)))
		// Outcomes that differ only in the deciding press read the same.
		sum := map[string]float64{}
		var order []string
		for i, o := range r.Outcomes {
			if sum[r.words[i]] == 0 {
				order = append(order, r.words[i])
			}
			sum[r.words[i]] += o.Probability
		}
		slices.SortStableFunc(order, func(x, y string) int { return cmp.Compare(sum[y], sum[x]) })
		for _, words := range order {
			fmt.Fprintf(b, "%s  %s\n", percent(sum[words]), words)
		}
	}
}

// percent returns a probability as "  90.0 %".
func percent(p float64) string { return fmt.Sprintf("%6.1f %%", 100*p) }

// boxes draws a reading's frames, full for down and empty for up.
func boxes(p *odds.Pattern) string {
	var b strings.Builder
	n := frame.Frame(0)
	for i, h := range p.Holds {
		for range h {
			if n++; n > oddsBoxes {
				return b.String() + "…"
			}
			b.WriteString("■")
		}
		if i < len(p.Gaps) {
			for range p.Gaps[i] {
				if n++; n > oddsBoxes {
					return b.String() + "…"
				}
				b.WriteString("□")
			}
		}
	}
	if n == 0 {
		return "□"
	}
	return b.String()
}

// patternText returns a reading in words.
func patternText(p *odds.Pattern) string {
	var s []string
	for i, h := range p.Holds {
		s = append(s, fmt.Sprintf("hold %d", h))
		if i < len(p.Gaps) {
			s = append(s, fmt.Sprintf("gap %d", p.Gaps[i]))
		}
	}
	if p.Merged > 0 {
		s = append(s, fmt.Sprintf("%d merged", p.Merged))
	}
	if p.Unseen > 0 {
		s = append(s, fmt.Sprintf("%d unseen", p.Unseen))
	}
	return strings.Join(s, ", ")
}
