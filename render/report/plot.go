package report

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"

	"holdgap/overlay/review"
)

// svg gathers a drawing. Its colours are classes, so that print and dark screens
// have their own.
type svg struct{ strings.Builder }

func newSVG(w, h float64, label string) *svg {
	s := &svg{}
	fmt.Fprintf(s, `<svg viewBox="0 0 %g %g" role="img" aria-label="%s">`, w, h, html.EscapeString(label))
	return s
}

func (s *svg) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(s, `<line class="%s" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, class, x1, y1, x2, y2)
}

func (s *svg) bar(class string, x, y, w, h, r float64) {
	fmt.Fprintf(s, `<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="%.1f" rx="%.1f"/>`, class, x, y, math.Max(w, 0), math.Max(h, 0), r)
}

func (s *svg) text(class string, x, y float64, t string) {
	fmt.Fprintf(s, `<text class="%s" x="%.1f" y="%.1f">%s</text>`, class, x, y, html.EscapeString(t))
}

func (s *svg) end() template.HTML {
	s.WriteString("</svg>")
	return template.HTML(s.String()) // numbers, and texts that were escaped
}

// interval draws a rate as a bead on a thread from 0 to 100 %, and its interval as
// the stretch of thread it may lie on.
func interval(r review.Rate) template.HTML {
	const w, h = 180.0, 18.0
	s := newSVG(w, h, fmt.Sprintf("%s, between %s and %s", percent(r.Rate), percent(r.Low), percent(r.High)))
	x := func(p float64) float64 { return 6 + p*(w-12) }
	s.line("rule", x(0), h/2, x(1), h/2)
	if r.Of > 0 {
		s.bar("span", x(r.Low), h/2-4, x(r.High)-x(r.Low), 8, 4)
		s.bar("bead", x(r.Rate)-4, h/2-7, 8, 14, 4)
	}
	return s.end()
}

// point is a rate at a place.
type point struct {
	x     float64
	label string
	rate  review.Rate
}

// rates draws points with their intervals over an axis; x runs from 0 to 1.
func rates(label string, ps []point) template.HTML {
	const w, h, left, top, low = 640.0, 190.0, 48.0, 10.0, 156.0
	s := newSVG(w, h, label)
	x := func(v float64) float64 { return left + 24 + v*(w-left-48) }
	y := func(p float64) float64 { return low - p*(low-top) }
	for _, p := range []float64{0, 0.25, 0.5, 0.75, 1} {
		s.line("rule", left, y(p), w, y(p))
		s.text("axis end", left-6, y(p)+4, percent(p))
	}
	last := -1e9
	for i, p := range ps {
		if i > 0 {
			s.line("join", x(ps[i-1].x), y(ps[i-1].rate.Rate), x(p.x), y(p.rate.Rate))
		}
		if x(p.x)-last > 70 {
			s.text("axis mid", x(p.x), h-14, p.label)
			last = x(p.x)
		}
	}
	for _, p := range ps {
		s.line("whisker", x(p.x), y(p.rate.Low), x(p.x), y(p.rate.High))
		s.bar("bead", x(p.x)-4, y(p.rate.Rate)-6, 8, 12, 4)
	}
	return s.end()
}

// trend draws the take's rate by parts of it; nothing where there are too few.
func trend(t Take) template.HTML {
	tr := t.Summary.Trend.Parts(trendParts)
	var ps []point
	n := math.Max(float64(len(tr.Slots)-1), 1)
	for i, s := range tr.Slots {
		k, of := s.Covered, s.Multis
		if t.Anchored {
			k, of = s.Hits, s.Tries
		}
		if of > 0 {
			at := float64(int64(i)*tr.Width+tr.Width/2) / 1e9
			ps = append(ps, point{float64(i) / n, strings.TrimSuffix(clock(at), ".0"), review.NewRate("", k, of)})
		}
	}
	if len(ps) < 2 {
		return ""
	}
	return rates("rate by parts of the take, with 95 % intervals", ps)
}

// overTakes draws the main rate of each take.
func overTakes(takes []Take) template.HTML {
	var ps []point
	for i, t := range takes {
		ps = append(ps, point{float64(i) / math.Max(float64(len(takes)-1), 1), fmt.Sprint(i + 1), mainRate(t)})
	}
	return rates("rate of each take, with 95 % intervals", ps)
}

// lengths draws a distribution in frames as bars.
func lengths(name string, d review.Dist) template.HTML {
	const w, h, left, top, low = 300.0, 170.0, 40.0, 12.0, 132.0
	s := newSVG(w, h, name+" in frames")
	first, last, total := 0, 0, int64(0)
	for k, n := range d.Frames {
		if n > 0 && total == 0 {
			first = k
		}
		total += int64(n)
	}
	// Where most of it is; the table tells of the rest.
	sum := int64(0)
	for k, n := range d.Frames {
		sum += int64(n)
		last = k
		if float64(sum) >= 0.97*float64(total) && k >= first+7 || k >= first+30 {
			break
		}
	}
	first = max(first-1, 0)
	bars := max(last-first+1, 8)
	most := uint32(1)
	for k := first; k <= last && k < len(d.Frames); k++ {
		most = max(most, d.Frames[k])
	}
	wide := (w - left - 6) / float64(bars)
	s.line("rule", left, low, w, low)
	for _, v := range ticks(float64(most)) {
		y := low - v/float64(most)*(low-top)
		s.line("rule", left, y, w, y)
		s.text("axis end", left-5, y+4, fmt.Sprintf("%g", v))
	}
	step := max((bars+9)/10, 1)
	for i := range bars {
		k := first + i
		x := left + 3 + float64(i)*wide
		if k < len(d.Frames) && k <= last {
			tall := float64(d.Frames[k]) / float64(most) * (low - top)
			s.bar("bead", x+wide*0.12, low-tall, wide*0.76, tall, math.Min(3, wide*0.3))
		}
		if i%step == 0 {
			s.text("axis mid", x+wide/2, low+16, fmt.Sprint(k))
		}
	}
	s.text("axis mid", left+(w-left)/2, h-4, "frames")
	return s.end()
}

// ticks are a few round values up to most.
func ticks(most float64) []float64 {
	step := math.Pow(10, math.Floor(math.Log10(most)))
	switch {
	case most/step < 2:
		step /= 2
	case most/step > 5:
		step *= 2
	}
	step = math.Max(step, 1)
	var out []float64
	for v := step; v <= most+1e-9; v += step {
		out = append(out, v)
	}
	return out
}
