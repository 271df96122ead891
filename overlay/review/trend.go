package review

// MaxSlots is the most slots of time that a take is cut into; a power of two.
const MaxSlots = 256

// firstWidth is the length of a slot to begin with, ns.
const firstWidth = 250_000_000

// Slot is what happened in a stretch of the take.
type Slot struct {
	Presses int64 `json:"presses"` // that a frame saw
	Unseen  int64 `json:"unseen"`
	Multis  int64 `json:"multis"`  // judged multi-presses
	Covered int64 `json:"covered"` // of them without a hole
	Tries   int64 `json:"tries"`   // attempts with a press
	Hits    int64 `json:"hits"`
}

func (s *Slot) add(o Slot) {
	s.Presses += o.Presses
	s.Unseen += o.Unseen
	s.Multis += o.Multis
	s.Covered += o.Covered
	s.Tries += o.Tries
	s.Hits += o.Hits
}

// Trend is the course of a take: slots of equal width from its first edge on.
// When a take outgrows them, neighbours are put together.
type Trend struct {
	From  int64  `json:"from_ns"`  // on the edges' clock
	Width int64  `json:"width_ns"` // of a slot
	Slots []Slot `json:"slots"`
}

type trend struct {
	from  int64
	width uint64 // ns
	n     int    // slots in use
	slots [MaxSlots]Slot
}

// mostWidth is the width from which on no time is beyond the slots.
const mostWidth = 1 << 56

func (t *trend) begin(at int64) { t.from, t.width = at, firstWidth }

// at returns the slot of a time; a time before the first counts for the first.
func (t *trend) at(ns int64) *Slot {
	var d uint64
	if ns > t.from {
		d = uint64(ns) - uint64(t.from)
	}
	for t.width < mostWidth && d >= MaxSlots*t.width {
		for i := range t.slots {
			var s Slot
			if i < MaxSlots/2 {
				s = t.slots[2*i]
				s.add(t.slots[2*i+1])
			}
			t.slots[i] = s
		}
		t.n = (t.n + 1) / 2
		t.width *= 2
	}
	i := int(min(d/t.width, MaxSlots-1))
	t.n = max(t.n, i+1)
	return &t.slots[i]
}

func (t *trend) report() Trend {
	return Trend{From: t.from, Width: int64(t.width), Slots: append([]Slot{}, t.slots[:t.n]...)}
}

// Parts returns the trend in at most n parts of equal width.
func (t Trend) Parts(n int) Trend {
	for len(t.Slots) > n && n > 0 {
		out := Trend{From: t.From, Width: 2 * t.Width, Slots: make([]Slot, (len(t.Slots)+1)/2)}
		for i, s := range t.Slots {
			out.Slots[i/2].add(s)
		}
		t = out
	}
	return t
}
