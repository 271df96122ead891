package take

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
)

func TestRingKeepsTheLastMinutes(t *testing.T) {
	dir := t.TempDir()
	edges := realistic(50_000, 60)
	keep := 5 * time.Minute
	r := NewRing(Header{Start: testHeader.Start, StartAt: testHeader.StartAt}, keep, 0)
	require.NoError(t, r.Note(Settings{At: 1, Name: "p", Text: []byte("old")}))
	require.NoError(t, r.Note(Settings{At: 1, Name: "q", Text: []byte("other")}))
	require.NoError(t, r.Note(Device{At: 1, Attached: true, Device: capture.Device{ID: 1, Name: "stick"}}))
	require.NoError(t, r.Note(Mark{At: 1, Text: "long ago"}))
	for i, e := range edges {
		if i == 20_000 {
			require.NoError(t, r.Note(Settings{At: e.At, Name: "p", Text: []byte("new")}))
		}
		if i == 49_900 {
			require.NoError(t, r.Note(Mark{At: e.At, Text: "wow"}))
		}
		r.Edge(e)
	}
	last := edges[len(edges)-1].At
	from := last - int64(keep)
	n, a, b := r.Held()
	assert.Equal(t, last, b)
	assert.GreaterOrEqual(t, a, from)

	path := filepath.Join(dir, "saved.take")
	require.NoError(t, r.Save(t.Context(), path))
	got, notes, rep := mustDecode(t, path)
	assert.True(t, rep.Whole() && rep.Closed)
	var want []capture.Edge
	s := newSpan(from, last)
	for _, e := range edges {
		if s.keepEdge(e) {
			want = append(want, e)
		}
	}
	assert.Equal(t, want, got)
	assert.Less(t, n, len(got)+2*ringChunk, "old edges are let go")
	h := notes[0].(Header)
	assert.NotEqual(t, [8]byte{}, h.ID)
	assert.Equal(t, testHeader.Start, h.Start)
	require.Len(t, notes, 6)
	assert.Equal(t, "new", string(notes[1].(Settings).Text), "what held at the beginning is there")
	assert.Equal(t, "other", string(notes[2].(Settings).Text))
	assert.Equal(t, "stick", notes[3].(Device).Device.Name)
	assert.Equal(t, "wow", notes[4].(Mark).Text)

	assert.ErrorIs(t, r.Save(t.Context(), path), os.ErrExist)
	ctx, stop := context.WithCancel(t.Context())
	stop()
	assert.ErrorIs(t, r.Save(ctx, filepath.Join(dir, "no.take")), context.Canceled)
	onlyFiles(t, dir, "saved.take")

	r.Clear()
	require.NoError(t, r.Save(t.Context(), filepath.Join(dir, "clear.take")))
	got, notes, _ = mustDecode(t, filepath.Join(dir, "clear.take"))
	assert.Empty(t, got)
	assert.Len(t, notes, 5, "header, settings, device, end: %v", notes)
	n, _, _ = r.Held()
	assert.Zero(t, n)
}

func TestRingLimit(t *testing.T) {
	r := NewRing(testHeader, time.Hour, 10_000)
	for _, e := range slow(100_000, 1000) {
		r.Edge(e)
	}
	n, _, _ := r.Held()
	assert.LessOrEqual(t, n, 10_000+ringChunk)
	assert.GreaterOrEqual(t, n, 10_000-ringChunk)
	for i := range ringNotes + 50 {
		require.NoError(t, r.Note(Settings{At: int64(i), Name: "p"}))
	}
	assert.Len(t, r.notes, ringNotes)
	assert.Equal(t, []Settings{{At: 49, Name: "p"}}, r.settings, "what is dropped last still holds")
	assert.ErrorContains(t, r.Note(testHeader), "one already")
	assert.ErrorContains(t, r.Note(Damage{}), "Damage")
}

// Saving while edges come in gives what was there when it began.
func TestRingSavesWhileRunning(t *testing.T) {
	dir := t.TempDir()
	r := NewRing(testHeader, time.Hour, 0)
	edges := slow(200_000, 1000)
	var group sync.WaitGroup
	begun := make(chan struct{})
	group.Go(func() {
		for i, e := range edges {
			r.Edge(e)
			if i == 10_000 {
				close(begun)
			}
		}
	})
	<-begun
	for _, name := range []string{"1", "2", "3"} {
		path := filepath.Join(dir, name)
		require.NoError(t, r.Save(t.Context(), path))
		got, _, rep := mustDecode(t, path)
		require.True(t, rep.Whole())
		require.GreaterOrEqual(t, len(got), 10_000)
		require.Equal(t, edges[:len(got)], got)
	}
	group.Wait()
}
