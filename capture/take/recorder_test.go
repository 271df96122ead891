package take

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
)

// memory is a file in memory that notes when it was written and synced, and
// can be full or slow.
type memory struct {
	mu       sync.Mutex
	data     []byte
	writes   []time.Time
	synced   []int // length at each sync
	syncs    []time.Time
	room     int           // bytes until it is full, 0 for no limit
	gate     chan struct{} // if set, each write waits for one token
	syncTime time.Duration
	closed   bool
}

func (m *memory) Write(p []byte) (int, error) {
	if m.gate != nil {
		<-m.gate
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.writes = append(m.writes, time.Now())
	n := len(p)
	if m.room > 0 {
		n = min(n, m.room-len(m.data))
	}
	m.data = append(m.data, p[:n]...)
	if n < len(p) {
		return n, syscall.ENOSPC
	}
	return n, nil
}

func (m *memory) Sync() error {
	m.mu.Lock()
	n := len(m.data)
	m.mu.Unlock()
	time.Sleep(m.syncTime) // the bubble's time, not ours
	m.mu.Lock()
	defer m.mu.Unlock()
	m.synced, m.syncs = append(m.synced, n), append(m.syncs, time.Now())
	return nil
}

func (m *memory) Truncate(n int64) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.data = m.data[:n]
	return nil
}

func (m *memory) Close() error { m.closed = true; return nil }

// content returns what a reader of the file would see now.
func (m *memory) content() []byte {
	m.mu.Lock()
	defer m.mu.Unlock()
	return bytes.Clone(m.data)
}

// Every edge is in the file 250 ms after it came, and on the disk within a
// second, at any pace, also where syncing takes a quarter of a second.
func TestFlushAndSyncInTime(t *testing.T) {
	for _, pace := range []time.Duration{time.Millisecond, 17 * time.Millisecond, 60 * time.Millisecond, 240 * time.Millisecond, 251 * time.Millisecond, 3 * time.Second} {
		synctest.Test(t, func(t *testing.T) {
			f := &memory{syncTime: 240 * time.Millisecond}
			r, err := record(f, "", RecordOptions{Header: testHeader})
			require.NoError(t, err)
			start := time.Now()
			came := func(i int) time.Duration { return time.Duration(i) * pace }
			const n = 100
			for i := range n {
				r.Edge(capture.Edge{At: int64(came(i)), Down: i%2 == 0})
				synctest.Wait()
				time.Sleep(pace)

				now := time.Since(start)
				got, _, rep, err := decode(f.content())
				require.NoError(t, err)
				require.Zero(t, rep.Unfinished)
				due := 0
				for due < n && due <= i && came(due)+flushAfter < now {
					due++
				}
				require.GreaterOrEqual(t, len(got), due, "pace %v: in the file at %v", pace, now)

				f.mu.Lock()
				safe := f.data[:f.synced[len(f.synced)-1]]
				f.mu.Unlock()
				got, _, _, _ = decode(safe)
				due = 0
				for due <= i && came(due)+time.Second < now {
					due++
				}
				require.GreaterOrEqual(t, len(got), due, "pace %v: on the disk at %v", pace, now)
			}
			require.NoError(t, r.Close(1))
			got, _, rep, err := decode(f.content())
			require.NoError(t, err)
			assert.Len(t, got, n)
			assert.True(t, rep.Closed && rep.Whole())
			assert.True(t, f.closed)
			assert.Equal(t, len(f.data), f.synced[len(f.synced)-1], "closing syncs")
			assert.Less(t, float64(len(f.writes)), float64(n)*pace.Seconds()*4+n/16.+5, "no more writes than the rule needs")
		})
	}
}

// The caller never waits: while the disk takes nothing, edges queue, then are
// counted, and the loss is in the take, where it happened.
func TestOverflowIsCountedAndNoted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &memory{}
		r, err := record(f, "", RecordOptions{Header: testHeader, Queue: 100})
		require.NoError(t, err)
		f.gate = make(chan struct{})
		edges := slow(516, 1e6)
		for _, e := range edges[:16] {
			r.Edge(e)
		}
		synctest.Wait() // the owner now waits in Write
		for _, e := range edges[16:500] {
			r.Edge(e)
		}
		require.NoError(t, r.Note(Mark{At: 9, Text: "kept in any case"}))
		assert.Equal(t, RecordStatus{Edges: 116, Lost: 384, Bytes: r.Status().Bytes}, r.Status())
		close(f.gate)
		synctest.Wait()
		for _, e := range edges[500:] {
			r.Edge(e)
		}
		require.NoError(t, r.Close(10))
		got, notes, rep, err := decode(f.data)
		require.NoError(t, err)
		assert.Equal(t, append(append([]capture.Edge(nil), edges[:116]...), edges[500:]...), got)
		assert.EqualValues(t, 384, rep.NotRecorded)
		assert.True(t, rep.Whole(), "%v", rep)
		require.Len(t, notes, 4)
		assert.Equal(t, Loss{From: edges[116].At, To: edges[499].At, Edges: 384, Reason: "the disk was too slow and the queue was full"}, notes[1])
		assert.Equal(t, Mark{At: 9, Text: "kept in any case"}, notes[2])
	})
}

func TestNotesThatPileUpStopTheRecording(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &memory{}
		var told []error
		r, err := record(f, "", RecordOptions{Header: testHeader, Queue: 10, OnError: func(err error) { told = append(told, err) }})
		require.NoError(t, err)
		f.gate = make(chan struct{})
		require.NoError(t, r.Note(Mark{At: -1, Text: "first"}))
		synctest.Wait()
		for i := range 30 {
			require.NoError(t, r.Note(Mark{At: int64(i), Text: "m"}))
		}
		close(f.gate)
		synctest.Wait()
		require.Len(t, told, 1)
		assert.ErrorIs(t, told[0], errQueue)
		assert.ErrorIs(t, r.Close(0), errQueue)
		_, notes, rep, err := decode(f.data)
		require.NoError(t, err)
		assert.Len(t, notes, 22, "header, first and what the queue held")
		assert.True(t, rep.Whole())
	})
}

func TestRecorderRefusals(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &memory{}
		r, err := record(f, "", RecordOptions{Settings: []Settings{{Name: "s"}}})
		require.NoError(t, err)
		assert.ErrorContains(t, r.Note(Header{}), "one already")
		assert.ErrorContains(t, r.Note(Settings{Text: []byte{0xFF}}), "UTF-8")
		r.Edge(capture.Edge{At: 5, Button: 99}) // a caller's mistake does not end the take
		r.Edge(capture.Edge{At: 6})
		require.NoError(t, r.Close(7))
		require.NoError(t, r.Close(8), "closing twice is harmless")
		got, notes, _, err := decode(f.data)
		require.NoError(t, err)
		assert.Equal(t, []capture.Edge{{At: 6}}, got)
		assert.NotEqual(t, [8]byte{}, notes[0].(Header).ID, "an id was made")
		assert.Contains(t, notes[2].(Loss).Reason, "button 99")
		r.Edge(capture.Edge{At: 9})
		assert.EqualValues(t, 1, r.Status().Lost, "after closing nothing is taken in")
	})
}

// A disk that fills up at any byte: recording stops, is reported once, and what
// was written reads whole.
func TestDiskFull(t *testing.T) {
	edges := realistic(200, 20)
	first := len(encode(t, testHeader, nil))
	for room := first; room < first+300; room += 7 {
		synctest.Test(t, func(t *testing.T) {
			f := &memory{room: room}
			var told []error
			r, err := record(f, "/some/where.take", RecordOptions{Header: testHeader, NoPack: true, OnError: func(err error) { told = append(told, err) }})
			require.NoError(t, err)
			for _, e := range edges {
				r.Edge(e)
				synctest.Wait()
			}
			require.Len(t, told, 1)
			assert.ErrorIs(t, told[0], syscall.ENOSPC)
			assert.ErrorContains(t, told[0], `"/some/where.take"`)
			assert.ErrorContains(t, told[0], "\nfree some space")
			s := r.Status()
			assert.Equal(t, told[0], s.Err)
			assert.EqualValues(t, len(edges), s.Edges+s.Lost)
			got, _, rep, err := decode(f.content())
			require.NoError(t, err)
			assert.True(t, rep.Whole(), "%v", rep)
			assert.EqualValues(t, len(got), s.Edges)
			assert.True(t, within(got, edges))
			assert.EqualValues(t, len(f.data), s.Bytes)
			r.Edge(edges[0]) // live goes on
			assert.Equal(t, told[0], r.Close(0))
		})
	}
}

func TestRecordToAFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.take")
	r, err := Record(path, RecordOptions{Header: testHeader, Settings: []Settings{{At: 1, Name: "p.toml", Text: []byte("x")}}})
	require.NoError(t, err)
	assert.Equal(t, path, r.Path())
	edges := realistic(1000, 21)
	for _, e := range edges {
		r.Edge(e)
	}
	require.NoError(t, r.Close(edges[999].At))
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	got, _, rep, err := decode(b)
	require.NoError(t, err)
	assert.Equal(t, edges, got)
	assert.True(t, rep.Whole() && rep.Closed)
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "what hands did is nobody else's to read")
	names, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, names, 1)

	_, err = Record(path, RecordOptions{})
	assert.ErrorIs(t, err, os.ErrExist)
	assert.ErrorContains(t, err, "never overwritten")
	_, err = Record(filepath.Join(dir, "no", "such"), RecordOptions{})
	assert.ErrorIs(t, err, os.ErrNotExist)
	_, err = Record(filepath.Join(dir, "b.take"), RecordOptions{Settings: []Settings{{Text: []byte{0xFF}}}})
	assert.ErrorContains(t, err, "UTF-8")
	assert.NoFileExists(t, filepath.Join(dir, "b.take"))
}

// A live recording, flushed every 250 ms, has short blocks; closing packs it to
// at most five bytes an edge.
func TestClosingPacks(t *testing.T) {
	path := filepath.Join(t.TempDir(), "live.take")
	f, err := os.Create(path)
	require.NoError(t, err)
	edges := realistic(2000, 22)
	var loose int64
	synctest.Test(t, func(t *testing.T) {
		r, err := record(f, path, RecordOptions{Header: testHeader})
		require.NoError(t, err)
		for i, e := range edges {
			if i > 0 {
				time.Sleep(time.Duration(e.At - edges[i-1].At))
			}
			r.Edge(e)
			if i%100 == 50 {
				require.NoError(t, r.Note(Mark{At: e.At, Text: "m"}))
			}
		}
		loose = r.Status().Bytes
		require.NoError(t, r.Close(edges[len(edges)-1].At))
	})
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	got, notes, rep, err := decode(b)
	require.NoError(t, err)
	assert.Equal(t, edges, got)
	assert.True(t, rep.Whole())
	assert.Len(t, notes, 22)
	per := float64(len(b)-len(encode(t, testHeader, nil))-20*(noteHead+crcSize+8)) / 2000
	t.Logf("%.2f bytes an edge while live, %.3f packed", float64(loose)/2000, per)
	assert.LessOrEqual(t, per, 5.)
}

func TestSyncErrorStopsTheRecording(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &badSync{}
		var told error
		r, err := record(f, "", RecordOptions{Header: testHeader, OnError: func(err error) { told = err }})
		require.NoError(t, err)
		f.bad = true
		r.Edge(capture.Edge{At: 1})
		time.Sleep(time.Second)
		synctest.Wait()
		assert.ErrorIs(t, told, syscall.EIO)
		assert.ErrorIs(t, r.Close(0), syscall.EIO)
	})
}

type badSync struct {
	memory
	bad bool
}

func (b *badSync) Sync() error {
	if b.bad {
		return &os.PathError{Op: "sync", Err: syscall.EIO}
	}
	return nil
}

func TestHintKeepsTheError(t *testing.T) {
	for _, e := range []error{syscall.ENOSPC, syscall.EFBIG, os.ErrPermission, os.ErrNotExist} {
		assert.ErrorIs(t, hint(e), e)
		assert.Contains(t, hint(e).Error(), "\n")
	}
	e := errors.New("x")
	assert.Equal(t, e, hint(e))
	assert.NoError(t, hint(nil))
}
