package takes_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/web/live"
	"holdgap/web/takes"
	"holdgap/web/wire"
)

// rig is an engine with a control, and what a page would see of it.
type rig struct {
	e   *live.Engine
	c   *takes.Control
	dir string
	now func() int64
}

func newRig(t testing.TB, ring time.Duration) *rig {
	r := &rig{dir: t.TempDir(), now: bubble()}
	setup := live.DefaultSetup()
	r.e = live.New(live.Options{Setup: setup, Now: r.now, Log: zerolog.Nop()})
	r.c = takes.NewControl(takes.ControlOptions{Engine: r.e, Folder: takes.Folder{Dir: filepath.Join(r.dir, "takes")}, Ring: ring,
		Now: r.now, Wall: time.Now, Profile: func() string { return "my pad" }, Program: "test"})
	return r
}

// status is what pages are told.
func (r *rig) status(t testing.TB) wire.Status {
	v, err := r.e.Hub().Join()
	require.NoError(t, err)
	defer r.e.Hub().Leave(v)
	var u wire.Update
	require.NoError(t, json.Unmarshal((<-v.Queue()).Text, &u))
	return *u.Status
}

// tap presses a button for a while.
func (r *rig) tap(button uint8) {
	r.e.Edges(capture.Edge{At: r.now(), Button: button, Down: true})
	time.Sleep(40 * time.Millisecond)
	r.e.Edges(capture.Edge{At: r.now(), Button: button})
	time.Sleep(40 * time.Millisecond)
}

func read(t testing.TB, path string) *takes.File {
	f, err := takes.Open(t.Context(), path, nil)
	require.NoError(t, err)
	return f
}

// From the desk: start, mark, change the settings, stop.
func TestControl(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 0)
		require.ErrorContains(t, r.c.Stop(), "nothing is being recorded")
		require.ErrorContains(t, r.c.Mark("x"), "nothing is being recorded")
		require.ErrorContains(t, r.c.SaveRecent(), "ring_minutes")
		r.tap(4) // before: not in the take
		r.e.Attach(capture.Device{ID: 7, Name: "Pad of mine", Source: "evdev"})
		require.NoError(t, r.c.Start())
		path, on := r.c.Recording()
		require.True(t, on)
		require.True(t, r.status(t).Take)
		require.ErrorContains(t, r.c.Start(), path)
		r.tap(4)
		r.e.Attach(capture.Device{ID: 7, Name: "Pad of mine", Source: "evdev", ReportMS: 4})
		require.NoError(t, r.c.Mark("that was it"))
		s := r.e.Setup()
		s.Target.Window = 5
		require.NoError(t, r.e.Change(s))
		require.NoError(t, r.c.Changed())
		r.tap(5)
		require.NoError(t, r.c.Stop())
		require.False(t, r.status(t).Take)
		r.tap(4) // after
		require.NoError(t, r.c.Close())
		require.ErrorContains(t, r.c.Start(), "ending")

		f := read(t, path)
		require.True(t, f.Scan.Report.Whole() && f.Scan.Report.Closed)
		require.EqualValues(t, 4, f.Scan.Report.Edges)
		require.Len(t, f.Scan.Marks, 1)
		require.Equal(t, "that was it", f.Scan.Marks[0].Text)
		require.Len(t, f.Parts, 2)
		require.Equal(t, "my pad", f.Parts[0].Name)
		require.EqualValues(t, 3, f.Parts[0].Setup.Target.Window)
		require.EqualValues(t, 5, f.Parts[1].Setup.Target.Window)
		require.Equal(t, int64(4*ms), f.ReportNS(), "what became known of the device is in the take")
	})
}

// What was good can be kept afterwards.
func TestSaveRecent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, time.Minute)
		require.ErrorContains(t, r.c.SaveRecent(), "nothing was pressed")
		for range 40 {
			r.tap(4)
			time.Sleep(3 * time.Second)
		}
		require.NoError(t, r.c.Mark("good"))
		require.NoError(t, r.c.SaveRecent())
		f := read(t, r.c.Saved())
		require.InDelta(t, 2*60/3.08, f.Scan.Report.Edges, 4)
		require.Less(t, f.Seconds(), 63.)
		require.Len(t, f.Scan.Marks, 1)
		require.Equal(t, "my pad", f.Parts[0].Name)
		require.Less(t, time.Since(f.Start()), 70*time.Second, "the date is that of the part, not of the program's start")
		require.NoError(t, r.c.SaveRecent(), "again, under another name")
		items, err := takes.Folder{Dir: filepath.Join(r.dir, "takes")}.List()
		require.NoError(t, err)
		require.Len(t, items, 2)
		require.NoError(t, r.c.Close())
	})
}

// A device's edges that come while a take is closed go to no file and hold up
// nobody; a folder that cannot be written is told.
func TestNoFolder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 0)
		require.NoError(t, os.WriteFile(filepath.Join(r.dir, "takes"), nil, 0o600))
		require.ErrorContains(t, r.c.Start(), "takes")
		require.False(t, r.status(t).Take)
		require.NoError(t, r.c.Close())
	})
}

func TestFolder(t *testing.T) {
	f := takes.Folder{Dir: filepath.Join(t.TempDir(), "none yet")}
	items, err := f.List()
	require.NoError(t, err)
	require.Empty(t, items)
	for _, bad := range []string{"", ".", "..", ".hidden", "a/b", "../a", `a\b`, strings.Repeat("a", 300)} {
		_, err := f.Path(bad)
		require.Error(t, err, bad)
	}
	p, err := f.Path("evening one")
	require.NoError(t, err)
	require.Equal(t, filepath.Join(f.Dir, "evening one.take"), p)
	day := time.Date(2026, 5, 4, 19, 30, 1, 0, time.UTC)
	for _, want := range []string{"2026-05-04 19.30.01.take", "2026-05-04 19.30.01 (2).take"} {
		p, err := f.New(day)
		require.NoError(t, err)
		require.Equal(t, want, filepath.Base(p))
		require.NoError(t, os.WriteFile(p, []byte("nonsense"), 0o600))
	}
	items, err = f.List()
	require.NoError(t, err)
	require.Len(t, items, 2)
	require.Contains(t, items[0].Trouble, "not a take")
}
