package live_test

import (
	"context"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/web/live"
	"holdgap/web/wire"
)

// stage is an engine that runs in a bubble with one pad whose keys a test presses.
type stage struct {
	*testing.T
	*live.Engine
	*follower
	now  func() int64
	dev  uint16
	tape list[capture.Edge]
	did  list[string]
}

// list is filled by one goroutine and read by another.
type list[T any] struct {
	mu  sync.Mutex
	all []T
}

func (l *list[T]) add(v T) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all = append(l.all, v)
}

func (l *list[T]) get() []T {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.all)
}

// onStage runs a test in a bubble. The chords are south + east for a mark, and
// west + north for a pause.
func onStage(t *testing.T, test func(s *stage)) {
	synctest.Test(t, func(t *testing.T) {
		setup := fifty(t)
		at := setup.Layout.Index
		setup.Chords = []live.Chord{
			{Buttons: []int{at("south"), at("east")}, Does: "mark"},
			{Buttons: []int{at("west"), at("north")}, Does: "pause"},
		}
		now := bubble()
		e := live.New(live.Options{Setup: setup, Now: now, Log: zerolog.Nop()})
		s := &stage{T: t, Engine: e, follower: follow(t, e), now: now, dev: e.IDs().Next()}
		s.Tap(s.tape.add)
		s.OnChord(func(does string, at int64) {
			e.Devices() // the lock is free
			s.did.add(does)
		})
		e.Attach(capture.Device{ID: s.dev, Name: "pad", Source: "evdev"})
		done := make(chan error, 1)
		go func() { done <- e.Run(t.Context(), live.Feed{Source: idle{}}) }()
		t.Cleanup(func() { require.NoError(t, <-done) })
		s.wait(time.Second)
		test(s)
	})
}

func (s *stage) wait(d time.Duration) wire.Update {
	for ; d > 0; d -= 100 * time.Millisecond { // a viewer that keeps up
		time.Sleep(min(d, 100*time.Millisecond))
		synctest.Wait()
		s.read(s.T)
	}
	return s.read(s.T)
}

func (s *stage) press(down bool, keys ...string) {
	for _, k := range keys {
		s.Input(capture.Input{At: s.now(), Device: s.dev, Key: k, Down: down})
	}
}

func TestChordIsForgotten(t *testing.T) {
	onStage(t, func(s *stage) {
		var marks list[int64]
		s.OnMark(marks.add)
		s.press(true, "down")
		s.wait(100 * time.Millisecond)
		s.press(false, "down")
		s.wait(200 * time.Millisecond)
		require.Len(s, s.tape.get(), 2)

		from := s.now()
		s.press(true, "south")
		require.Len(s, s.read(s).Presses, 2, "a button of a chord shows at once")
		s.wait(50 * time.Millisecond)
		s.press(true, "east")
		s.wait(100 * time.Millisecond)
		s.press(true, "up") // play beside the chord
		s.wait(100 * time.Millisecond)
		s.press(false, "up")
		require.Len(s, s.read(s).Presses, 4)
		require.Len(s, s.tape.get(), 2, "what may be a chord is not recorded yet, nor what came after it began")
		w := s.wait(time.Second)
		require.Equal(s, []string{"mark"}, s.did.get())
		require.Equal(s, []int64{from + int64(1050*time.Millisecond)}, marks.get())
		require.Len(s, w.Presses, 2, "the chord is gone from the strip")
		require.Len(s, s.tape.get(), 4, "and what was beside it is recorded")
		s.press(false, "south", "east")
		w = s.wait(100 * time.Millisecond)
		require.Len(s, w.Presses, 2)
		require.Len(s, s.tape.get(), 4)

		s.press(true, "south") // the button is play again
		s.wait(40 * time.Millisecond)
		s.press(false, "south")
		require.Len(s, s.read(s).Presses, 3)
		require.Len(s, s.tape.get(), 6, "a hold that ended is recorded at its end")

		// The take holds exactly what the strip shows.
		again := live.New(live.Options{Setup: s.Setup(), Now: s.now, Log: zerolog.Nop()})
		f := follow(s, again)
		again.Edges(s.tape.get()...)
		s.wait(500 * time.Millisecond)
		require.Equal(s, s.read(s).Presses, f.read(s).Presses)
		require.Equal(s, s.read(s).Multis, f.read(s).Multis)
	})
}

// A press of one button of a chord, however long, is shown at once and recorded
// with its own time and place.
func TestNoChordIsPlay(t *testing.T) {
	onStage(t, func(s *stage) {
		from := s.now()
		s.press(true, "south")
		s.wait(100 * time.Millisecond)
		s.press(true, "tl")
		s.wait(300 * time.Millisecond)
		require.Empty(s, s.tape.get())
		s.wait(200 * time.Millisecond)
		require.Len(s, s.tape.get(), 2, "after half a second it can be no chord")
		require.Equal(s, from, s.tape.get()[0].At)
		require.Equal(s, from+int64(100*time.Millisecond), s.tape.get()[1].At)
		s.press(true, "east")
		s.wait(2 * time.Second)
		require.Empty(s, s.did.get())
		s.press(false, "south", "east", "tl")
		require.Len(s, s.tape.get(), 6)
	})
}

func TestPauseByChord(t *testing.T) {
	onStage(t, func(s *stage) {
		s.press(true, "west", "north")
		w := s.wait(1100 * time.Millisecond)
		require.True(s, w.Status.Paused)
		require.Empty(s, w.Presses)
		s.press(false, "west", "north")
		s.press(true, "south", "east") // a mark is none while nothing is recorded
		s.wait(1200 * time.Millisecond)
		s.press(false, "south", "east")
		require.Equal(s, []string{"pause"}, s.did.get())
		require.Empty(s, s.read(s).Presses)

		s.press(true, "west", "north")
		w = s.wait(1100 * time.Millisecond)
		require.False(s, w.Status.Paused)
		s.press(false, "west", "north")
		w = s.wait(100 * time.Millisecond)
		require.Empty(s, w.Presses)
		require.Empty(s, s.tape.get())
		s.press(true, "tl")
		require.Len(s, s.read(s).Presses, 1)
	})
}

// A take that ends while a button of a chord is down has the press; one that
// ends in the middle of a chord has not.
func TestTakeEndsInAChord(t *testing.T) {
	onStage(t, func(s *stage) {
		var one, two, later list[capture.Edge]
		end := s.Tap(one.add)
		s.press(true, "south")
		end()
		require.Len(s, one.get(), 1)
		end = s.Tap(two.add)
		s.press(true, "east")
		defer s.Tap(later.add)()
		s.wait(600 * time.Millisecond)
		end()
		s.press(false, "south")
		s.wait(time.Second)
		require.Empty(s, two.get())
		require.Len(s, later.get(), 1, "a take has nothing from before it began")
		require.Len(s, s.tape.get(), 3)
	})
}

// Other chords, or another layout, record what was held back.
func TestChangeWithinAChord(t *testing.T) {
	onStage(t, func(s *stage) {
		s.press(true, "south", "east")
		setup := s.Setup()
		setup.Chords = nil
		require.NoError(s, s.Change(setup))
		require.Len(s, s.tape.get(), 2)
		s.wait(2 * time.Second)
		require.Empty(s, s.did.get())
		require.Len(s, s.read(s).Presses, 2)
		setup.Chords = []live.Chord{{Buttons: []int{0, 99}}}
		require.ErrorContains(s, s.Change(setup), "name two or more")
	})
}

// idle is a source that yields nothing.
type idle struct{}

func (idle) Run(ctx context.Context, _ capture.Sink) error {
	<-ctx.Done()
	return nil
}
