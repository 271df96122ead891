package take

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
)

func put(t testing.TB, dir, name string, b []byte) string {
	t.Helper()
	path := filepath.Join(dir, name)
	require.NoError(t, os.WriteFile(path, b, 0o600))
	return path
}

func mustDecode(t testing.TB, path string) ([]capture.Edge, []Note, Report) {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	edges, notes, rep, err := decode(b)
	require.NoError(t, err)
	return edges, notes, rep
}

func onlyFiles(t testing.TB, dir string, names ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	assert.Equal(t, names, got)
}

func TestRepair(t *testing.T) {
	dir := t.TempDir()
	edges := realistic(1000, 40)
	b := encode(t, testHeader, edges, Settings{Name: "p", Text: []byte("x")})
	b[2000] ^= 0x10
	src := put(t, dir, "bad.take", b[:len(b)-3])
	dst := filepath.Join(dir, "good.take")
	var calls int
	rep, err := Repair(t.Context(), src, dst, func(done, total int64) {
		calls++
		assert.LessOrEqual(t, done, total)
	})
	require.NoError(t, err)
	assert.GreaterOrEqual(t, calls, 2)
	assert.Equal(t, 1, rep.Places)
	assert.Positive(t, rep.Unfinished)
	after, err := os.ReadFile(src)
	require.NoError(t, err)
	assert.Equal(t, b[:len(b)-3], after, "the old one is not touched")

	got, notes, fixed := mustDecode(t, dst)
	assert.True(t, fixed.Whole() && fixed.Closed, "%v", fixed)
	assert.True(t, within(got, edges))
	assert.Len(t, got, 1000-16)
	assert.Equal(t, testHeader, notes[0])
	l := notes[2].(Loss)
	assert.Equal(t, rep.LostNS, l.To-l.From)
	assert.Contains(t, l.Reason, "damaged")

	_, err = Repair(t.Context(), src, dst, nil)
	assert.ErrorIs(t, err, os.ErrExist)
	_, err = Repair(t.Context(), src, src, nil)
	assert.ErrorIs(t, err, os.ErrExist)
	onlyFiles(t, dir, "bad.take", "good.take")

	// The header is gone: the edges are not.
	src = put(t, dir, "headless.take", b[60:])
	rep, err = Repair(t.Context(), src, filepath.Join(dir, "headless2.take"), nil)
	require.NoError(t, err)
	got, notes, _ = mustDecode(t, filepath.Join(dir, "headless2.take"))
	assert.Len(t, got, 1000-16)
	assert.EqualValues(t, 1000-16, rep.Edges)
	assert.Contains(t, notes[0].(Header).Program, "lost")

	// Deep in a foreign file: repairing looks further than reading.
	src = put(t, dir, "deep.bin", append(bytes.Repeat([]byte("junk"), 1<<19), b[16:]...))
	_, err = Scan(t.Context(), src, nil)
	assert.ErrorIs(t, err, ErrForeign)
	_, err = Repair(t.Context(), src, filepath.Join(dir, "deep.take"), nil)
	require.NoError(t, err)
	src = put(t, dir, "nothing.bin", []byte("text"))
	_, err = Repair(t.Context(), src, filepath.Join(dir, "nothing.take"), nil)
	assert.ErrorIs(t, err, ErrForeign)
	assert.NoFileExists(t, filepath.Join(dir, "nothing.take"))
	_, err = Repair(t.Context(), dir, filepath.Join(dir, "x.take"), nil)
	assert.ErrorContains(t, err, "is a folder")
}

func TestTrim(t *testing.T) {
	dir := t.TempDir()
	dev := func(id uint16, at int64, on bool) Device {
		return Device{At: at, Attached: on, Device: capture.Device{ID: id}}
	}
	var b bytes.Buffer
	w := NewWriter(&b)
	step := func(err error) { require.NoError(t, err) }
	edge := func(at int64, button uint8, down bool) {
		step(w.Edge(capture.Edge{At: at, Button: button, Down: down}))
	}
	step(w.Header(testHeader))
	step(w.Note(Settings{At: 0, Name: "p", Text: []byte("old")}))
	step(w.Note(dev(1, 0, true)))
	step(w.Note(dev(2, 0, true)))
	edge(10, 1, true)
	edge(20, 2, true)
	edge(30, 2, false)
	step(w.Note(Mark{At: 35, Text: "before"}))
	step(w.Note(dev(1, 40, false)))
	step(w.Note(Settings{At: 45, Name: "p", Text: []byte("new")}))
	edge(100, 3, true)
	edge(110, 1, false) // of the press that began before
	edge(120, 3, false)
	step(w.Note(Mark{At: 125, Text: "within"}))
	step(w.Note(Loss{From: 90, To: 130, Edges: 3}))
	step(w.Note(Loss{From: 10, To: 20, Edges: 4}))
	edge(200, 3, true)
	edge(201, 3, false) // after the end
	step(w.Note(Mark{At: 220, Text: "after"}))
	step(w.Note(Video{Offset: -7, Name: "v.mkv"}))
	step(w.End(300))
	src := put(t, dir, "a.take", b.Bytes())
	dst := filepath.Join(dir, "b.take")
	_, err := Trim(t.Context(), src, dst, 100, 200, nil)
	require.NoError(t, err)
	got, notes, rep := mustDecode(t, dst)
	assert.True(t, rep.Whole() && rep.Closed)
	assert.Equal(t, []capture.Edge{{At: 100, Button: 3, Down: true}, {At: 120, Button: 3}, {At: 200, Button: 3, Down: true}}, got)
	assert.Equal(t, []Note{
		testHeader, Settings{At: 45, Name: "p", Text: []byte("new")}, dev(2, 0, true),
		Mark{At: 125, Text: "within"}, Loss{From: 90, To: 130, Edges: 3}, Video{Offset: -7, Name: "v.mkv"},
		End{At: 200, Edges: 3},
	}, notes)

	_, err = Trim(t.Context(), src, filepath.Join(dir, "c.take"), 2, 1, nil)
	assert.ErrorContains(t, err, "swap them")
	_, err = Trim(t.Context(), src, filepath.Join(dir, "none.take"), 1000, 2000, nil)
	require.NoError(t, err)
	got, notes, _ = mustDecode(t, filepath.Join(dir, "none.take"))
	assert.Empty(t, got)
	assert.Contains(t, notes, Settings{At: 45, Name: "p", Text: []byte("new")}, "also an empty part explains itself")
}

func TestCreate(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.take")
	edges := realistic(10_000, 44)
	n, err := Create(t.Context(), path, Header{StartAt: 1}, []Note{Settings{Name: "p"}}, all(edges))
	require.NoError(t, err)
	assert.EqualValues(t, len(edges), n)
	got, notes, rep := mustDecode(t, path)
	assert.Equal(t, edges, got)
	assert.Len(t, notes, 3)
	assert.True(t, rep.Whole() && rep.Closed)
	_, err = Create(t.Context(), path, Header{}, nil, all(edges))
	assert.ErrorIs(t, err, os.ErrExist)

	path = filepath.Join(dir, "b.take")
	ctx, stop := context.WithCancel(t.Context())
	stop()
	_, err = Create(ctx, path, Header{}, nil, all(edges))
	assert.ErrorIs(t, err, context.Canceled)
	_, err = Create(t.Context(), path, Header{}, []Note{Damage{}}, all(edges))
	assert.ErrorContains(t, err, "Damage")
	_, err = Create(t.Context(), path, Header{}, nil, func(yield func(capture.Edge, error) bool) { yield(capture.Edge{}, io.ErrUnexpectedEOF) })
	assert.ErrorIs(t, err, io.ErrUnexpectedEOF)
	onlyFiles(t, dir, "a.take")
}

func TestPackLeavesDamageAlone(t *testing.T) {
	dir := t.TempDir()
	b := encode(t, testHeader, realistic(100, 41))
	open := b[:bytes.LastIndex(b, []byte{mark0, mark1})]
	for name, b := range map[string][]byte{"cut": b[:len(b)-1], "flipped": append(bytes.Clone(b[:99]), append([]byte{b[99] ^ 1}, b[100:]...)...), "open": open} {
		path := put(t, dir, name, b)
		assert.ErrorContains(t, Pack(t.Context(), path), "not whole", name)
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, b, after)
	}
	onlyFiles(t, dir, "cut", "flipped", "open")
	path := put(t, dir, "good", b)
	require.NoError(t, os.Chmod(path, 0o640))
	require.NoError(t, Pack(t.Context(), path))
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, b, after, "what is packed stays the same")
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o640), info.Mode().Perm())
}

func TestAppend(t *testing.T) {
	dir := t.TempDir()
	edges := realistic(40, 42)
	path := put(t, dir, "a.take", encode(t, testHeader, edges, Mark{At: 7, Text: "old"}, Mark{At: 9, Text: "gone"}))
	v := Video{Offset: 12, Name: "v.mkv", Num: 60, Den: 1}
	require.NoError(t, Append(path, Video{Offset: 1, Name: "v.mkv"}))
	require.NoError(t, Append(path, v, Mark{At: 7, Text: "new"}, Mark{At: 9}, Mark{At: 3, Text: "first"}))
	got, _, rep := mustDecode(t, path)
	assert.Equal(t, edges, got)
	assert.True(t, rep.Whole() && rep.Closed)
	s, err := Scan(t.Context(), path, nil)
	require.NoError(t, err)
	assert.Equal(t, []Video{v}, s.Videos)
	assert.Equal(t, []Mark{{3, "first"}, {7, "new"}}, s.Marks)

	assert.ErrorContains(t, Append(path, testHeader), "one header")
	assert.ErrorIs(t, Append(put(t, dir, "x", []byte("text")), v), ErrForeign)
	assert.ErrorIs(t, Append(filepath.Join(dir, "no"), v), os.ErrNotExist)
	// Behind a block that was cut off, a note is still found.
	b := encode(t, testHeader, edges)
	path = put(t, dir, "cut.take", b[:len(b)-8])
	require.NoError(t, Append(path, v))
	s, err = Scan(t.Context(), path, nil)
	require.NoError(t, err)
	assert.Equal(t, []Video{v}, s.Videos)
	assert.Equal(t, 1, s.Report.Places)
}

// Whatever is interrupted leaves nothing behind.
func TestInterruptedLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	src := put(t, dir, "a.take", encode(t, testHeader, realistic(400_000, 43)))
	dst := filepath.Join(dir, "b.take")
	for name, run := range map[string]func(context.Context, Progress) error{
		"repair": func(ctx context.Context, p Progress) error { _, err := Repair(ctx, src, dst, p); return err },
		"trim":   func(ctx context.Context, p Progress) error { _, err := Trim(ctx, src, dst, 0, 1<<60, p); return err },
		"scan":   func(ctx context.Context, p Progress) error { _, err := Scan(ctx, src, p); return err },
		"pack":   func(ctx context.Context, p Progress) error { return Pack(stopAfter(ctx), src) },
	} {
		ctx, stop := context.WithCancel(t.Context())
		err := run(ctx, func(done, total int64) {
			if done > total/2 {
				stop()
			}
		})
		stop()
		assert.ErrorIs(t, err, context.Canceled, name)
		onlyFiles(t, dir, "a.take")
	}
	assert.ErrorIs(t, createFile(dst, func(w io.Writer) error {
		_, _ = w.Write(make([]byte, 1<<20))
		return os.ErrClosed
	}), os.ErrClosed)
	onlyFiles(t, dir, "a.take")
}

// stopAfter is a context that ends after it was asked twice.
func stopAfter(ctx context.Context) context.Context { return &asked{Context: ctx} }

type asked struct {
	context.Context
	n int
}

func (a *asked) Err() error {
	if a.n++; a.n > 2 {
		return context.Canceled
	}
	return nil
}

func TestLeftovers(t *testing.T) {
	dir := t.TempDir()
	old := put(t, dir, ".a.take"+partSuffix+"123", nil)
	put(t, dir, ".b.take"+partSuffix+"4", nil)
	put(t, dir, "c.take", nil)
	now := time.Now()
	require.NoError(t, os.Chtimes(old, now.Add(-time.Hour), now.Add(-time.Hour)))
	got, err := Leftovers(dir, now.Add(-time.Minute))
	require.NoError(t, err)
	assert.Equal(t, []string{old}, got)
	_, err = Leftovers(filepath.Join(dir, "no"), now)
	assert.ErrorIs(t, err, os.ErrNotExist)
}

// A hidden name is used where a file system has no nameless files; both ways
// give a new file only where there is none.
func TestHiddenPart(t *testing.T) {
	dir := t.TempDir()
	for _, taken := range []bool{false, true} {
		path := filepath.Join(dir, "x")
		f, err := os.CreateTemp(dir, ".x"+partSuffix+"*")
		require.NoError(t, err)
		p := &part{File: f, named: true}
		_, err = p.WriteString("new")
		require.NoError(t, err)
		err = p.publish(path)
		if taken {
			assert.ErrorIs(t, err, os.ErrExist)
		} else {
			assert.NoError(t, err)
		}
		p.discard()
		onlyFiles(t, dir, "x")
	}
}
