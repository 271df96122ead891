package flash

import "image"

// ringLen is how many changes of a pixel are remembered: eight are four
// flashes, one more than is allowed.
const ringLen = 2 * (MaxFlashes + 1)

// never is a frame long before the first.
const never = -1 << 30

// stride is how far apart the rectangles lie that are tried, px of the standard.
const stride = 8

// layer remembers the changes of one kind (general or red) and adds up areas.
type layer struct {
	w, h  int
	ring  [][ringLen]int32 // per pixel: frames of its last changes
	count []uint8          // per pixel: changes so far, modulo 256; the low bits point into ring
	up    []bool           // per pixel: direction of its last change
	full  bool             // some pixel went through ringLen changes within the second that ends now
	marks [2][]int         // per direction and frame: changes in all frames before it

	limit  int // px²
	fields []field
	sums   []int32 // of the picture, summed up from the top left
	found  Finding
	level  int // the number of changes that was found over more than the allowed area
}

// field is one rectangle of 10°.
type field struct {
	rect    image.Rectangle
	last    [2]int32 // per direction: frame of its last change as a whole
	changes []change // of the last second, in order
}

// change is one of a field as a whole: part of it may go up while another part
// goes down.
type change struct {
	frame    int32
	up, down bool
}

func newLayer(w, h int, scale float64) *layer {
	fw, fh := int(FieldWidth*scale), int(FieldHeight*scale)
	step := max(1, int(stride*scale))
	l := &layer{
		w: w, h: h,
		limit: fw * fh / 4,
		ring:  make([][ringLen]int32, w*h),
		count: make([]uint8, w*h),
		up:    make([]bool, w*h),
		sums:  make([]int32, (w+1)*(h+1)),
		marks: [2][]int{{0}, {0}},
	}
	for i := range l.ring {
		for j := range l.ring[i] {
			l.ring[i][j] = never
		}
	}
	for _, y := range starts(h, fh, step) {
		for _, x := range starts(w, fw, step) {
			l.fields = append(l.fields, field{
				rect: image.Rect(x, y, min(x+fw+step-1, w), min(y+fh+step-1, h)),
				last: [2]int32{never, never},
			})
		}
	}
	return l
}

// starts are the places along one side where rectangles begin.
func starts(length, size, step int) []int {
	out := []int{0}
	for x := step; x+size <= length; x += step {
		out = append(out, x)
	}
	return out
}

// begin makes room for the changes of the next frame.
func (l *layer) begin() {
	for d := range l.marks {
		l.marks[d] = append(l.marks[d], l.marks[d][len(l.marks[d])-1])
	}
	l.full = false
}

// since counts the changes in one direction from a frame until now.
func (l *layer) since(first int32, up bool) int {
	m := l.marks[index(up)]
	return m[len(m)-1] - m[first]
}

func index(up bool) int {
	if up {
		return 1
	}
	return 0
}

// mark records a change of pixel i in frame now; first is the first frame of
// the second that ends with it.
func (l *layer) mark(i int, first, now int32, up bool) {
	c := l.count[i]
	l.ring[i][c%ringLen] = now
	l.count[i] = c + 1
	l.up[i] = up
	l.full = l.full || l.ring[i][(c+1)%ringLen] >= first
	m := l.marks[index(up)]
	m[len(m)-1]++
}

// nth returns the frame of the n-th last change of pixel i, 1 ≤ n ≤ ringLen.
func (l *layer) nth(i, n int) int32 { return l.ring[i][(l.count[i]-uint8(n))%ringLen] }

// judge looks at the second that ends with frame now. Without a change in this
// frame, no earlier second can be outdone.
func (l *layer) judge(a *Analyser, now int32) {
	if l.since(now, true)+l.since(now, false) == 0 {
		return
	}
	l.judgePixels(a, now)
	l.judgeWhole(a, now, true)
	l.judgeWhole(a, now, false)
}

// judgePixels counts the changes that pixels went through.
func (l *layer) judgePixels(a *Analyser, now int32) {
	changes := l.since(a.first, true) + l.since(a.first, false)
	for l.level < ringLen {
		n := l.level + 1
		if changes <= n*l.limit { // not enough for n changes of enough pixels
			break
		}
		area, rect := l.greatest(func(i int) bool { return l.nth(i, n) >= a.first })
		if area <= l.limit {
			break
		}
		l.level = n
		l.report(n/2, a.times[now], rect)
	}
	if l.full && changes > ringLen*l.found.Area {
		area, _ := l.greatest(func(i int) bool { return l.nth(i, ringLen) >= a.first })
		l.found.Area = max(l.found.Area, area)
	}
}

func (l *layer) report(flashes int, at int64, rect image.Rectangle) {
	if flashes = min(flashes, MaxFlashes+1); flashes > l.found.Flashes {
		l.found.Flashes, l.found.At, l.found.Field = flashes, at, rect
	}
}

// judgeWhole looks for rectangles that as a whole got brighter (or redder), or
// the opposite. After such a change a rectangle rests in that direction for as
// long as changes are concurrent, so that none is counted twice.
func (l *layer) judgeWhole(a *Analyser, now int32, up bool) {
	if l.since(a.recent, up) <= l.limit || l.add(func(i int) bool {
		n := 1
		if l.up[i] != up {
			n = 2 // directions take turns
		}
		return l.nth(i, n) >= a.recent
	}) <= l.limit {
		return
	}
	for i := range l.fields {
		f := &l.fields[i]
		if f.last[index(up)] >= a.recent || l.area(f.rect) <= l.limit {
			continue
		}
		f.last[index(up)] = now
		l.report(f.change(a.first, now, up)/2, a.times[now], f.rect)
	}
}

// change records a change and returns how many changes of alternating direction
// follow one another from frame first on.
func (f *field) change(first, now int32, up bool) int {
	old := 0
	for old < len(f.changes) && f.changes[old].frame < first {
		old++
	}
	f.changes = append(f.changes[:0], f.changes[old:]...)
	if n := len(f.changes); n == 0 || f.changes[n-1].frame < now {
		f.changes = append(f.changes, change{frame: now})
	}
	last := &f.changes[len(f.changes)-1]
	last.up, last.down = last.up || up, last.down || !up

	// A change in both directions can stand for either, so it always goes on
	// with the row; one in a single direction only if it is the opposite.
	n, want := 0, change{up: true, down: true} // what may come next
	for _, c := range f.changes {
		switch {
		case c.up && want.up && c.down && want.down: // undecided
		case c.up && want.up:
			want = change{down: true}
		case c.down && want.down:
			want = change{up: true}
		default:
			continue
		}
		n++
	}
	return n
}

// greatest returns the greatest area within a rectangle of the pixels that
// satisfy is.
func (l *layer) greatest(is func(i int) bool) (int, image.Rectangle) {
	if l.add(is) == 0 {
		return 0, image.Rectangle{}
	}
	best, where := -1, image.Rectangle{}
	for i := range l.fields {
		if area := l.area(l.fields[i].rect); area > best {
			best, where = area, l.fields[i].rect
		}
	}
	return best, where
}

// add fills the sums with the pixels that satisfy is, and returns how many there are.
func (l *layer) add(is func(i int) bool) int {
	i, row := 0, l.w+1
	for y := range l.h {
		sum := int32(0)
		above, here := l.sums[y*row:(y+1)*row], l.sums[(y+1)*row:(y+2)*row]
		for x := range l.w {
			if is(i) {
				sum++
			}
			here[x+1] = above[x+1] + sum
			i++
		}
	}
	return int(l.sums[len(l.sums)-1])
}

func (l *layer) area(r image.Rectangle) int {
	row := l.w + 1
	return int(l.sums[r.Max.Y*row+r.Max.X] - l.sums[r.Min.Y*row+r.Max.X] - l.sums[r.Max.Y*row+r.Min.X] + l.sums[r.Min.Y*row+r.Min.X])
}
