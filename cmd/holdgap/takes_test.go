package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// madeTake writes a table of edges and makes a take of it.
func madeTake(t testing.TB, dir string, presses int) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("at_ns,button,key,state,label\n")
	for i := range presses {
		at := int64(i) * 150_000_000
		fmt.Fprintf(&b, "%d,0,0,down,west\n%d,0,0,up,west\n", at, at+40_000_000)
	}
	table, path := filepath.Join(dir, "made.csv"), filepath.Join(dir, "made.take")
	require.NoError(t, os.WriteFile(table, []byte(b.String()), 0o600))
	var out bytes.Buffer
	require.Zero(t, run(context.Background(), []string{"takes", "import", table, "-o", path}, io.Discard, &out), out.String())
	return path
}

func files(t testing.TB, dir string) (names []string) {
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

// What is interrupted leaves no half file, and nothing hidden either.
func TestInterrupted(t *testing.T) {
	dir := t.TempDir()
	path := madeTake(t, dir, 3000)
	before := files(t, dir)
	for _, args := range [][]string{
		{"takes", "export", path, "--as", "json", "-o", filepath.Join(dir, "x.json")},
		{"takes", "import", filepath.Join(dir, "made.csv"), "-o", filepath.Join(dir, "x.take")},
		{"takes", "repair", path, "-o", filepath.Join(dir, "x.take")},
		{"takes", "trim", path, "--from", "1", "-o", filepath.Join(dir, "x.take")},
		{"report", path, "-o", filepath.Join(dir, "x.html")},
	} {
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		var stderr bytes.Buffer
		require.Equal(t, 1, run(ctx, args, io.Discard, &stderr), "%q", args)
		require.Contains(t, stderr.String(), context.Canceled.Error(), "%q", args)
		require.Equal(t, before, files(t, dir), "%q", args)
	}
}

// A file that is not written to its end is not there, and what was stays.
func TestWriteWhole(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.txt")
	bad := errors.New("no more")
	half := func(w io.Writer) error {
		_, err := io.WriteString(w, strings.Repeat("half", 100_000))
		return errors.Join(err, bad)
	}
	require.ErrorIs(t, writeWhole(path, false, half), bad)
	require.Empty(t, files(t, dir))
	require.NoError(t, writeWhole(path, false, func(w io.Writer) error { _, err := io.WriteString(w, "whole"); return err }))
	require.ErrorIs(t, writeWhole(path, true, half), bad)
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, "whole", string(b))
	require.Equal(t, []string{"a.txt"}, files(t, dir))
}

// Whichever bit of a take flips, the verbs say something and never show an edge
// that was not there.
func TestEveryBitOfATake(t *testing.T) {
	dir := t.TempDir()
	path := madeTake(t, dir, 20)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	var table bytes.Buffer
	require.Zero(t, run(t.Context(), []string{"takes", "export", path, "--as", "edges"}, &table, io.Discard))
	lines := map[string]bool{}
	for _, l := range strings.Split(table.String(), "\n") {
		at, _, _ := strings.Cut(l, ",")
		lines[at] = true
	}
	step := 7 // every seventh bit here; the reader's own tests flip them all
	for bit := 0; bit < 8*len(whole); bit += step {
		b := bytes.Clone(whole)
		b[bit/8] ^= 1 << (bit % 8)
		flipped := filepath.Join(dir, "flipped.take")
		require.NoError(t, os.WriteFile(flipped, b, 0o600))
		var out, stderr bytes.Buffer
		if run(t.Context(), []string{"takes", "export", flipped, "--as", "edges"}, &out, &stderr) != 0 {
			require.NotEmpty(t, stderr.String(), "bit %d", bit)
			continue
		}
		for _, l := range strings.Split(out.String(), "\n") {
			at, _, _ := strings.Cut(l, ",")
			require.True(t, lines[at], "bit %d: %q was never there", bit, l)
		}
	}
}

func TestParseClock(t *testing.T) {
	for in, want := range map[string]int64{"0": 0, "75.5": 75_500_000_000, "1:15.5": 75_500_000_000, "0:01:15.5": 75_500_000_000, "2:00:00": 7_200_000_000_000} {
		got, err := parseClock(in)
		require.NoError(t, err, in)
		require.Equal(t, want, got, in)
	}
	for _, in := range []string{"", "late", "-1", "1:60", "1.5:30", "1:2:3:4", "NaN", "1e99", "inf"} {
		_, err := parseClock(in)
		require.ErrorContains(t, err, fmt.Sprintf("%q", in))
	}
}
