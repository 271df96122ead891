package main

import (
	"bytes"
	"context"
	"io"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdgap/web/takes"
)

// runUntil runs the program until the take at a path holds some edges, then ends it
// as Ctrl-C does.
func runUntil(t *testing.T, path string, edges int64, args ...string) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var stdout, stderr bytes.Buffer
	code := make(chan int, 1)
	go func() { code <- run(ctx, args, &stdout, &stderr) }()
	watch := time.NewTicker(20 * time.Millisecond)
	defer watch.Stop()
	end := time.After(30 * time.Second)
	for {
		select {
		case c := <-code:
			t.Fatalf("the program ended with %d: %s", c, &stderr)
		case <-end:
			t.Fatalf("the take at %q never came to %d edges", path, edges)
		case <-watch.C:
		}
		if f, err := takes.Open(t.Context(), path, nil); err == nil && f.Scan.Report.Edges >= edges {
			break
		}
	}
	cancel()
	require.Zero(t, <-code, "%s", &stderr)
	require.Empty(t, stderr.String())
	require.Contains(t, stdout.String(), "recording to "+path)
}

// The live program records what the performer plays, and plays it again by the
// settings it was recorded under.
func TestRecordAndReplay(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", filepath.Join(dir, "config"))
	t.Setenv("XDG_DATA_HOME", filepath.Join(dir, "data"))
	first, second := filepath.Join(dir, "first.take"), filepath.Join(dir, "second.take")
	runUntil(t, first, 6, "--addr", "127.0.0.1:0", "--source", "demo", "--record", first, "--window", "2", "--rate", "50")
	one, err := takes.Open(t.Context(), first, nil)
	require.NoError(t, err)
	require.True(t, one.Scan.Report.Closed)
	require.True(t, one.Scan.Report.Whole())
	require.Equal(t, "50", one.Parts[0].Setup.Rate.String())
	require.EqualValues(t, 2, one.Parts[0].Setup.Target.Window)
	require.True(t, one.Demo())

	n := one.Scan.Report.Edges
	runUntil(t, second, n, "--addr", "127.0.0.1:0", "--source", "take:"+first+"@4", "--record", second)
	two, err := takes.Open(t.Context(), second, nil)
	require.NoError(t, err)
	require.Equal(t, one.Parts[0].Setup, two.Parts[0].Setup)
	require.Equal(t, n, two.Scan.Report.Edges)
	spans := func(f *takes.File) []int64 {
		jg, err := f.Judging(0, takes.Try{})
		require.NoError(t, err)
		j, err := f.Judge(t.Context(), jg, nil)
		require.NoError(t, err)
		var out []int64
		start := int64(0)
		for e, err := range j.EdgeSeq(t.Context()) {
			require.NoError(t, err)
			if start == 0 {
				start = e.At
			}
			out = append(out, e.At-start)
		}
		return out
	}
	a, b := spans(one), spans(two)
	for i := range a {
		require.InDelta(t, float64(a[i])/4, float64(b[i]), 2, "edge %d at four times the speed", i)
	}
}

// A start that fails leaves no take.
func TestNoTakeOfAFailedStart(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", filepath.Join(dir, "config"))
	path := filepath.Join(dir, "none.take")
	var stderr bytes.Buffer
	require.Equal(t, 2, run(t.Context(), []string{"--addr", "nonsense", "--record", path}, io.Discard, &stderr))
	require.False(t, takes.Exists(path))
	path = filepath.Join(dir, "no", "folder", "none.take")
	require.Equal(t, 1, run(t.Context(), []string{"--addr", "127.0.0.1:0", "--source", "demo", "--record", path}, io.Discard, &stderr))
	require.Contains(t, stderr.String(), path)
}
