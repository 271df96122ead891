package main

import (
	"fmt"
	"strings"

	"holdgap/overlay/frame"
	"holdgap/overlay/window"
)

const (
	drawColumns = 16 // boxes in one line of the drawing
	drawMost    = 48 // starts that are still drawn
	drawMargin  = "          "
)

// drawCover draws a box for every start: the number of the press that counts from
// there, × in a hole. Below, a bracket spans the window, and the presses hang on
// threads for the earliest and the latest covered start.
func drawCover(b *strings.Builder, r *windowReport) {
	w, c := r.WindowFrames, &r.cover
	first, last := frame.Frame(0), w-1
	if n := c.Runs(); n > 0 {
		first, last = min(first, c.Run(0).First), max(last, c.Run(n-1).Last)
	}
	first, last = first-1, last+1
	if last-first+1 > drawMost {
		return
	}
	for from := first; from <= last; from += drawColumns {
		to := min(from+drawColumns-1, last)
		b.WriteString("start     ")
		for f := from; f <= to; f++ {
			fmt.Fprintf(b, "%3d ", f)
		}
		trimRight(b)
		edge := func(left, middle, right string) {
			b.WriteString(drawMargin[:9] + left)
			for f := from; f <= to; f++ {
				b.WriteString("───")
				if f < to {
					b.WriteString(middle)
				}
			}
			b.WriteString(right + "\n")
		}
		edge("┌", "┬", "┐")
		b.WriteString("counting │")
		for f := from; f <= to; f++ {
			fmt.Fprintf(b, "%2s │", r.mark(f))
		}
		b.WriteByte('\n')
		edge("└", "┴", "┘")
		if to >= 0 && from < w {
			drawBracket(b, from, to, w)
		}
		if n := c.Runs(); n > 0 {
			early, late := c.Run(0).First, c.Run(n-1).Last
			drawThread(b, "earliest", r.plan, early, from, to)
			if late != early {
				drawThread(b, "latest", r.plan, late, from, to)
			}
		}
		b.WriteByte('\n')
	}
}

// mark returns what stands in the box of start f.
func (r *windowReport) mark(f frame.Frame) string {
	starts := make([]frame.Frame, len(r.plan.Offsets))
	for i, o := range r.plan.Offsets {
		starts[i] = f + o
	}
	if o := window.Judge(r.WindowFrames, r.rules, starts, r.plan.Holds); o.Kind == window.Hit {
		return fmt.Sprint(o.Press)
	}
	for _, h := range r.Holes {
		if h.First <= f && f <= h.Last {
			return "×"
		}
	}
	return ""
}

// drawBracket draws the window's bracket under the boxes from … to.
func drawBracket(b *strings.Builder, from, to, w frame.Frame) {
	line := []rune("window" + strings.Repeat(" ", 4*drawColumns+4))
	left, right := max(from, 0), min(to, w-1)
	at := 9 + 4*int(left-from)
	end := 9 + 4*int(right-from+1)
	for i := at + 1; i < end; i++ {
		line[i] = '─'
	}
	line[at], line[end] = '╰', '╯'
	if left > 0 {
		line[at] = '─' // it began in the line above
	}
	if right < w-1 {
		line[end] = '─'
	}
	b.WriteString(strings.TrimRight(string(line), " ") + "\n")
}

// drawThread draws the presses from start f on a thread: a bead where a press
// goes down, a thick line while its hold goes on, as far as holds were given. A
// stretch without either is left out.
func drawThread(b *strings.Builder, name string, p window.Plan, f, from, to frame.Frame) {
	line := []rune(fmt.Sprintf("%-9s ", name) + strings.Repeat("─", 4*int(to-from+1)-1))
	bare := true
	for i, o := range p.Offsets {
		held := frame.Frame(1)
		if i < len(p.Holds) && p.Holds[i] > 0 {
			held = p.Holds[i]
		}
		for k := range min(held, to-from+1+drawMost*2) {
			at := f + o + k
			if at < from || at > to {
				continue
			}
			bare = false
			x := 11 + 4*int(at-from)
			if k > 0 {
				for j := max(x-3, 10); j <= x; j++ {
					if line[j] == '─' {
						line[j] = '━'
					}
				}
				continue
			}
			line[x] = '●'
		}
	}
	if !bare {
		b.WriteString(string(line) + "\n")
	}
}

// trimRight ends the line that b is in, without spaces at its end.
func trimRight(b *strings.Builder) {
	s := strings.TrimRight(b.String(), " ")
	b.Reset()
	b.WriteString(s + "\n")
}
