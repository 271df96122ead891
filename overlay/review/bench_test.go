package review_test

import (
	"testing"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/press"
	"holdgap/overlay/review"
	"holdgap/overlay/session"
)

var sink frame.Frame

// The bare loop: what frame each edge falls on.
func BenchmarkClockAt(b *testing.B) {
	es := played()
	c := frame.NewClock(frame.Hz60, 0)
	for i := 0; b.Loop(); i++ {
		sink += c.At(es[i%len(es)].At)
	}
}

func BenchmarkSession(b *testing.B) {
	es := played()
	s := session.New(benchConfig(), none{})
	for i := 0; b.Loop(); i++ {
		s.Edge(next(es, i))
	}
}

func BenchmarkReview(b *testing.B) {
	es := played()
	r := review.New(benchConfig())
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		r.Edge(next(es, i))
	}
}

// next goes on with the take from the beginning, later.
func next(es []capture.Edge, i int) capture.Edge {
	e := es[i%len(es)]
	e.At += int64(i/len(es)) * (es[len(es)-1].At + 100*ms)
	return e
}

func benchConfig() session.Config {
	return session.Config{Clock: frame.NewClock(frame.Hz60, 0), Buttons: layout,
		Target: session.Target{Window: 3, Wanted: 0, Anchored: true, Starter: 1, Opening: 20}}
}

func played() []capture.Edge {
	es := make([]capture.Edge, 1<<14)
	feed := feeder()
	for i := range es {
		es[i] = feed()
	}
	return es
}

type none struct{}

func (none) Press(*press.Press)          {}
func (none) Multi(*session.Multi)        {}
func (none) Direction(session.Direction) {}
func (none) Outcome(*session.Outcome)    {}
