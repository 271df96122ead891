package live_test

import (
	"context"
	"encoding/json"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/capture/performer"
	"holdgap/web/hub"
	"holdgap/web/live"
	"holdgap/web/wire"
)

const ms = int64(time.Millisecond)

// bubble returns a clock that runs in the test's bubble, from a whole number of
// 20 ms frames.
func bubble() func() int64 {
	start := time.Now()
	return func() int64 { return 1000*ms + int64(time.Since(start)) }
}

func fifty(t require.TestingT) live.Setup {
	s := live.DefaultSetup()
	require.NoError(t, s.Rate.UnmarshalText([]byte("50")))
	phase := int64(0)
	s.Phase = &phase
	return s
}

// follower applies updates as a page does.
type follower struct {
	v     *hub.Viewer
	store hub.Store
	flash int
}

func follow(t require.TestingT, e *live.Engine) *follower {
	v, err := e.Hub().Join()
	require.NoError(t, err)
	return &follower{v: v}
}

func (f *follower) read(t require.TestingT) wire.Update {
	for len(f.v.Queue()) > 0 {
		var u wire.Update
		require.NoError(t, json.Unmarshal((<-f.v.Queue()).Text, &u))
		f.store.Apply(&u)
		for _, m := range u.Multis {
			if m.Flash {
				f.flash++
			}
		}
	}
	return f.store.Whole()
}

// script is a source that plays inputs at set times after it starts.
type script struct {
	ids   capture.IDs
	now   func() int64
	steps []step
	err   error
}

type step struct {
	after time.Duration
	key   string
	down  bool
}

func (s script) Run(ctx context.Context, sink capture.Sink) error {
	if s.err != nil {
		return s.err
	}
	id := s.ids.Next()
	sink.Attach(capture.Device{ID: id, Name: "test pad", Source: "evdev"})
	start := time.Now()
	for _, st := range s.steps {
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(time.Until(start.Add(st.after))):
		}
		sink.Input(capture.Input{At: s.now(), Device: id, Key: st.key, Down: st.down})
	}
	sink.Detach(id, s.now())
	<-ctx.Done()
	return nil
}

func TestPressesReachTheViewer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		now := bubble()
		e := live.New(live.Options{Setup: fifty(t), Now: now, Log: zerolog.Nop()})
		f := follow(t, e)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		at := func(f int64) time.Duration { return time.Duration(f*20+10) * time.Millisecond }
		go func() {
			done <- e.Run(ctx, live.Feed{Source: script{ids: e.IDs(), now: now, steps: []step{
				{at(0), "south", true}, {at(1), "south", false}, {at(2), "south", true}, {at(5), "south", false},
				{at(6), "up", true}, {at(8), "up", false},
				{at(9), "key_a", true}, {at(10), "key_a", false},
			}}})
		}()
		time.Sleep(10*time.Millisecond + time.Microsecond)
		synctest.Wait()
		w := f.read(t)
		require.Len(t, w.Presses, 1, "a press is shown at its edge, not at the end of the frame")
		require.Equal(t, wire.Pending, w.Presses[0].State)
		require.EqualValues(t, 51, w.Presses[0].First)
		require.Equal(t, "test pad", w.Status.Devices[0].Name)

		time.Sleep(20 * time.Millisecond)
		synctest.Wait()
		require.Equal(t, wire.Closed, f.read(t).Presses[0].State)

		time.Sleep(500 * time.Millisecond)
		synctest.Wait()
		w = f.read(t)
		require.Len(t, w.Presses, 3, "two of south and one of up; nothing of an unbound key")
		require.EqualValues(t, 1, w.Presses[0].Hold)
		require.EqualValues(t, 1, w.Presses[1].Gap)
		require.EqualValues(t, 3, w.Presses[1].Hold)
		require.InDelta(t, 1, w.Presses[1].HoldSure, 1e-9, "the phase is fixed")
		// Common practice, no source: a three-frame window and spacing 2 cover 5.
		require.Len(t, w.Multis, 1)
		m := w.Multis[0]
		require.Equal(t, wire.Covered, m.Verdict)
		require.EqualValues(t, 5, m.Covered)
		require.Equal(t, [][2]int64{{49, 53}}, m.Spans)
		require.InDelta(t, 1, m.Sure, 1e-9)
		require.Equal(t, 1, f.flash)
		require.Equal(t, []wire.Direction{{ID: 1, First: 57, Num: 8}, {ID: 2, First: 59, Num: 5}}, w.Directions)
		require.Empty(t, w.Status.Devices)
		cancel()
		require.NoError(t, <-done)
	})
}

// With an unknown phase the numbers carry their odds.
func TestUnsureNumbers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := fifty(t)
		s.Phase = nil
		now := bubble()
		e := live.New(live.Options{Setup: s, Now: now, Log: zerolog.Nop()})
		f := follow(t, e)
		dev := e.IDs().Next()
		in := func(at int64, down bool) {
			e.Input(capture.Input{At: at, Device: dev, Key: "south", Down: down})
		}
		time.Sleep(time.Second)
		in(1005*ms, true)
		in(1035*ms, false) // 30 ms: one frame or two, evenly
		in(1057*ms, true)
		u := f.read(t)
		require.InDelta(t, .5, u.Presses[0].HoldSure, 1e-9)
		require.InDelta(t, .9, u.Presses[1].GapSure, 1e-9)
		require.EqualValues(t, 1, u.Presses[1].Gap)
	})
}

// The performer plays until a device is there, and nothing of it stays.
func TestDemoGivesWay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		now := bubble()
		e := live.New(live.Options{Setup: live.DefaultSetup(), Now: now, Log: zerolog.Nop()})
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		f := follow(t, e)
		go func() {
			done <- e.Run(ctx, live.Feed{Standby: true, Source: performer.NewSource(
				performer.SourceOptions{Seed: 3, IDs: e.IDs(), Now: now})})
		}()
		for range 10 {
			time.Sleep(500 * time.Millisecond)
			synctest.Wait()
			f.read(t)
		}
		w := f.read(t)
		require.True(t, w.Status.Demo)
		require.NotEmpty(t, w.Presses)

		dev := e.IDs().Next()
		e.Attach(capture.Device{ID: dev, Name: "pad", Source: "evdev"})
		e.Input(capture.Input{At: now(), Device: dev, Key: "east", Down: true})
		w = f.read(t)
		require.False(t, w.Status.Demo)
		require.Len(t, w.Presses, 1, "the first press of a new device counts and the demo's are gone")
		time.Sleep(2 * time.Second)
		synctest.Wait()
		require.Len(t, f.read(t).Presses, 1)

		e.Input(capture.Input{At: now(), Device: dev, Key: "east"})
		e.Detach(dev, now())
		for range 6 {
			time.Sleep(500 * time.Millisecond)
			synctest.Wait()
			f.read(t)
		}
		w = f.read(t)
		require.True(t, w.Status.Demo, "the performer comes back")
		require.Greater(t, len(w.Presses), 1)
		cancel()
		require.NoError(t, <-done)
	})
}

func TestPauseAndTroubles(t *testing.T) {
	e := live.New(live.Options{Setup: live.DefaultSetup(), Now: func() int64 { return 1e9 }, Log: zerolog.Nop()})
	f := follow(t, e)
	e.Input(capture.Input{At: 1e9, Device: 1, Key: "south", Down: true})
	e.Pause(true)
	e.Input(capture.Input{At: 1e9, Device: 1, Key: "east", Down: true})
	e.Warn("access", "no permission for the pad: join group input")
	w := f.read(t)
	require.True(t, w.Status.Paused)
	require.Len(t, w.Presses, 1)
	require.NotEqual(t, wire.Down, w.Presses[0].State, "hands off lets go")
	require.Equal(t, "access", w.Status.Troubles[0].Key)
	e.Warn("access", "")
	e.Pause(false)
	e.Input(capture.Input{At: 1e9, Device: 1, Key: "east", Down: false})
	e.Input(capture.Input{At: 1e9, Device: 1, Key: "west", Down: true})
	w = f.read(t)
	require.Empty(t, w.Status.Troubles)
	require.Len(t, w.Presses, 2)
}

// Another window, rate or read rule judges the newest edges anew.
func TestChangeJudgesAnew(t *testing.T) {
	now := int64(0)
	e := live.New(live.Options{Setup: fifty(t), Now: func() int64 { return now }, Log: zerolog.Nop()})
	f := follow(t, e)
	for i, down := range []bool{true, false, true, false} {
		now = int64(i+1)*20*ms + 10*ms
		e.Input(capture.Input{At: now, Device: 1, Key: "south", Down: down})
	}
	require.EqualValues(t, 5, f.read(t).Multis[0].Covered)
	s := fifty(t)
	s.Target.Window = 2
	require.NoError(t, e.Change(s))
	w := f.read(t)
	require.EqualValues(t, 4, w.Multis[0].Covered)
	require.Equal(t, 1, f.flash, "the past does not flash again")
	s.Layout.Buttons = s.Layout.Buttons[:6]
	require.NoError(t, e.Change(s))
	require.Empty(t, f.read(t).Presses)
	s.Layout.Buttons = nil
	require.ErrorContains(t, e.Change(s), "no buttons")
}

func TestFeedFailureEndsTheRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e := live.New(live.Options{Setup: live.DefaultSetup(), Now: bubble(), Log: zerolog.Nop()})
		boom := errors.New("no such device")
		require.ErrorIs(t, e.Run(t.Context(), live.Feed{Source: script{err: boom}},
			live.Feed{Source: script{ids: e.IDs(), now: bubble()}}), boom)
	})
}

func BenchmarkInput(b *testing.B) {
	now := int64(0)
	e := live.New(live.Options{Setup: live.DefaultSetup(), Now: func() int64 { return now }, Log: zerolog.Nop()})
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		now += 17 * ms
		e.Input(capture.Input{At: now, Device: 1, Key: "south", Down: i%2 == 0})
	}
}
