//go:build unix

package takes_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"holdgap/capture"
	"holdgap/capture/monotime"
	"holdgap/web/live"
	"holdgap/web/takes"
	"holdgap/web/wire"
)

// Where nothing more can be written (here by a limit of the process, which looks
// like a full disk), recording stops with a warning on the desk, what was written
// stays readable, and live goes on.
func TestFullDisk(t *testing.T) {
	var before unix.Rlimit
	require.NoError(t, unix.Getrlimit(unix.RLIMIT_FSIZE, &before))
	e := live.New(live.Options{Setup: live.DefaultSetup(), Now: monotime.Now, Log: zerolog.Nop()})
	c := takes.NewControl(takes.ControlOptions{Engine: e, Folder: takes.Folder{Dir: t.TempDir()}, Now: monotime.Now, Wall: time.Now})
	require.NoError(t, c.Start())
	path, _ := c.Recording()

	limit := before
	limit.Cur = 8 << 10
	require.NoError(t, unix.Setrlimit(unix.RLIMIT_FSIZE, &limit))
	v, err := e.Hub().Join()
	require.NoError(t, err)
	base := monotime.Now()
	for i := range int64(8000) { // four times what fits
		e.Edges(capture.Edge{At: base + i*1000, Button: 4, Down: i%2 == 0})
	}
	// Pages hear of it.
	for told := false; !told; {
		var u wire.Update
		require.NoError(t, json.Unmarshal((<-v.Queue()).Text, &u))
		told = u.Status != nil && len(u.Status.Troubles) > 0 && !u.Status.Take
		if !told && len(v.Queue()) == 0 {
			e.Edges(capture.Edge{At: monotime.Now(), Button: 4, Down: true}, capture.Edge{At: monotime.Now(), Button: 4})
		}
	}
	require.NoError(t, unix.Setrlimit(unix.RLIMIT_FSIZE, &before))
	e.Hub().Leave(v)
	_, on := c.Recording()
	require.False(t, on)

	r := &rig{e: e}
	s := r.status(t)
	require.False(t, s.Take)
	require.Len(t, s.Troubles, 1)
	require.Contains(t, s.Troubles[0].Text, "Recording stopped")
	require.Contains(t, s.Troubles[0].Text, "make room")

	edges := e.Counts().Edges
	e.Edges(capture.Edge{At: monotime.Now(), Button: 5, Down: true})
	require.Equal(t, edges+1, e.Counts().Edges, "live goes on")

	f := read(t, path)
	require.Positive(t, f.Scan.Report.Edges)
	require.Zero(t, f.Scan.Report.Places)
	require.Error(t, c.Stop())
	require.NoError(t, c.Start(), "and again once there is room")
	require.Empty(t, r.status(t).Troubles)
	again, _ := c.Recording()
	require.False(t, strings.EqualFold(again, path))
	require.NoError(t, c.Close())
}
