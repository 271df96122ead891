package takes_test

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/capture/performer"
	"holdgap/capture/take"
	"holdgap/overlay/frame"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
	"holdgap/web/hub"
	"holdgap/web/live"
	"holdgap/web/takes"
	"holdgap/web/wire"
)

const ms = int64(time.Millisecond)

// bubble returns a clock that runs in the test's bubble.
func bubble() func() int64 {
	start := time.Now()
	return func() int64 { return 100_000*ms + int64(time.Since(start)) }
}

// setups are what the performer is watched by: its own links, other rates and
// rules, a known phase.
func setups(t testing.TB) map[string]live.Setup {
	rate := func(s string) frame.Rate {
		r, err := frame.ParseRate(s)
		require.NoError(t, err)
		return r
	}
	base := live.DefaultSetup()
	link := performer.ShuttleLink
	base.Target = session.Target{Name: "shuttle", Window: frame.Frame(link.Window()), Wanted: base.Layout.Index(link.To.Key),
		Anchored: true, Starter: base.Layout.Index(link.From.Key), Opening: frame.Frame(link.Opening), Presses: 2, Spacing: 3}
	spoil := base
	spoil.Target.Rules = window.Rules{Early: window.Spoil, Reach: 4}
	spoil.Rule = frame.Latched
	ntsc := base
	ntsc.Rate, ntsc.Quick, ntsc.BounceNS = rate("60000/1001"), 12, 7_123_457
	phase := int64(3_141_593)
	ntsc.Phase = &phase
	odd := live.DefaultSetup()
	odd.Rate, odd.Cleaning, odd.BounceNS = rate("59.637405"), capture.CleanLast, -1
	fast := base
	fast.Rate = rate("120")
	return map[string]live.Setup{"link": base, "spoil, latched": spoil, "59.94, known phase": ntsc, "plain, odd rate": odd, "120": fast}
}

// record has the performer play into a live engine, as it happens, and returns
// what a page that watched knows in the end, and the take.
func record(t *testing.T, setup live.Setup, seed uint64, seconds int, path string) wire.Update {
	var out wire.Update
	synctest.Test(t, func(t *testing.T) {
		now := bubble()
		e := live.New(live.Options{Setup: setup, Now: now, Log: zerolog.Nop()})
		v, err := e.Hub().Join()
		require.NoError(t, err)
		c := takes.NewControl(takes.ControlOptions{Engine: e, Now: now, Wall: time.Now, Ring: time.Minute, Program: "test"})
		require.NoError(t, c.StartAt(path))
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() {
			done <- e.Run(ctx, live.Feed{Source: performer.NewSource(performer.SourceOptions{Seed: seed, IDs: e.IDs(), Now: now})})
		}()
		var store hub.Store
		read := func() {
			for len(v.Queue()) > 0 {
				var u wire.Update
				require.NoError(t, json.Unmarshal((<-v.Queue()).Text, &u))
				store.Apply(&u)
			}
		}
		for range seconds * 100 {
			time.Sleep(10 * time.Millisecond)
			synctest.Wait()
			read()
		}
		e.Pause(true) // hands off: everything is let go
		time.Sleep(3 * time.Second)
		synctest.Wait()
		read()
		require.NoError(t, c.Stop())
		require.NoError(t, c.Close())
		cancel()
		require.NoError(t, <-done)
		out = store.Whole()
	})
	return out
}

// A take through the same session gives what live gave, bit for bit: the frames
// and lengths of every press, every multi-press, direction and outcome, and the
// certainties of presses and multi-presses too.
func TestReplayIsLive(t *testing.T) {
	for name, setup := range setups(t) {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "a.take")
			want := record(t, setup, 11, 25, path)
			require.Greater(t, len(want.Presses), 40)
			require.NotEmpty(t, want.Multis)

			f, err := takes.Open(t.Context(), path, nil)
			require.NoError(t, err)
			require.Empty(t, f.Troubles)
			require.True(t, f.Scan.Report.Whole())
			require.Len(t, f.Parts, 1)
			require.Equal(t, setup, f.Parts[0].Setup, "the take carries its settings losslessly")
			jg, err := f.Judging(0, takes.Try{})
			require.NoError(t, err)
			j, err := f.Judge(t.Context(), jg, nil)
			require.NoError(t, err)
			clock := setup.Clock()
			got, err := j.View(t.Context(), clock.At(f.Zero())-1, clock.At(f.End())+1)
			require.NoError(t, err)
			same(t, want, *got)

			// Any part of it, looked at by itself, shows the same.
			for a := clock.At(f.Zero()); a < clock.At(f.End()); a += 97 {
				part, err := j.View(t.Context(), a, a+120)
				require.NoError(t, err)
				known := map[uint64]wire.Press{}
				for _, p := range got.Presses {
					known[p.ID] = p
				}
				inside := 0
				for _, p := range part.Presses {
					require.Equal(t, known[p.ID], p)
				}
				for _, p := range got.Presses {
					if p.First <= int64(a+120) && p.First+max(p.Hold, 1) >= int64(a) {
						inside++
					}
				}
				require.Len(t, part.Presses, inside)
			}
		})
	}
}

func same(t *testing.T, want, got wire.Update) {
	t.Helper()
	require.Equal(t, want.Presses, got.Presses)
	require.Equal(t, want.Directions, got.Directions)
	require.Equal(t, want.Multis, got.Multis)
	require.Len(t, got.Outcomes, len(want.Outcomes))
	for i, w := range want.Outcomes {
		g := got.Outcomes[i]
		// Live says how sure an attempt is while its last press is still held, and
		// cannot know its length yet; a take can.
		w.Sure, g.Sure = 0, 0
		require.Equal(t, w, g)
	}
}

// Playing a take into an engine gives the same lengths again, at its own pace and
// at others, and by the take's own settings.
func TestReplaySource(t *testing.T) {
	setup := setups(t)["link"]
	path := filepath.Join(t.TempDir(), "a.take")
	record(t, setup, 5, 8, path)
	f, err := os.ReadFile(path)
	require.NoError(t, err)
	var want []capture.Edge
	r := take.NewReader(newBytes(f))
	for e, err := range r.Edges() {
		require.NoError(t, err)
		want = append(want, e)
	}
	for _, speed := range []float64{1, 0.5, 4} {
		synctest.Test(t, func(t *testing.T) {
			now := bubble()
			rep := &takes.Replay{Path: path, Speed: speed, Clock: fakeClock(now)}
			s, has, err := rep.Setup(t.Context())
			require.NoError(t, err)
			require.True(t, has)
			require.Equal(t, setup, s)
			e := live.New(live.Options{Setup: s, Now: now, Log: zerolog.Nop()})
			rep.Engine, rep.IDs = e, e.IDs()
			var got []capture.Edge
			defer e.Tap(func(e capture.Edge) { got = append(got, e) })()
			ctx, cancel := context.WithCancel(t.Context())
			done := make(chan error, 1)
			go func() { done <- e.Run(ctx, live.Feed{Source: rep}) }()
			time.Sleep(time.Second)
			synctest.Wait()
			require.Equal(t, "take", e.Devices()[0].Source)
			time.Sleep(time.Minute)
			synctest.Wait()
			cancel()
			require.NoError(t, <-done)
			require.Len(t, got, len(want))
			for i := range want {
				require.Equal(t, want[i].Button, got[i].Button)
				require.InDelta(t, float64(want[i].At-want[0].At)/speed, float64(got[i].At-got[0].At), 1)
			}
		})
	}
}

func TestParseReplay(t *testing.T) {
	for in, want := range map[string]float64{"a.take": 1, "a.take@2": 2, "dir/a@b.take": 1, "dir/a@b.take@0.25": 0.25} {
		path, speed, err := takes.ParseReplay(in)
		require.NoError(t, err, in)
		require.Equal(t, want, speed, in)
		require.Contains(t, path, ".take")
	}
	for _, in := range []string{"", "@2", "a.take@0", "a.take@1000", "a.take@-1"} {
		_, _, err := takes.ParseReplay(in)
		require.ErrorContains(t, err, in)
	}
}
