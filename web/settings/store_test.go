package settings

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"pgregory.net/rapid"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// mine is a file that somebody wrote.
const mine = `# mine
profile = "links" # for now
lamp = "left"

[[profile_for]]
name = "links"
window = 2

[[profile_for]]
name = "other"
`

// opened returns a store on a file with a text, or on none yet with "".
func opened(t testing.TB, text string) (s *Store, path string, warned *string) {
	path = filepath.Join(t.TempDir(), "holdgap", FileName)
	if text != "" {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	warned = new(string)
	return Open(Options{Path: path, Warn: func(key, text string) {
		require.Equal(t, Trouble, key)
		*warned = text
	}}), path, warned
}

func read(t testing.TB, path string) string {
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(b)
}

func ring(n int) func(*Settings) error {
	return func(s *Settings) error { s.Takes.RingMinutes = n; return nil }
}

func TestBeginsAFile(t *testing.T) {
	s, path, _ := opened(t, "")
	snap := s.Get()
	require.EqualValues(t, 1, snap.Rev)
	require.Equal(t, "everything", snap.Settings.Profile)
	require.NoFileExists(t, path)
	rev, err := s.Change(ring(3))
	require.NoError(t, err)
	require.EqualValues(t, 2, rev)
	f, err := ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, s.Get().Settings, f.Settings)
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	require.NoFileExists(t, tempName(path))

	rev, err = s.Change(ring(3))
	require.NoError(t, err)
	require.EqualValues(t, 2, rev, "what changes nothing is no change")
}

func TestChangesAreToldAndKept(t *testing.T) {
	s, path, warned := opened(t, mine)
	var told []Snapshot
	end := s.Subscribe(func(snap Snapshot) {
		told = append(told, s.Get())
		require.Equal(t, snap, told[len(told)-1])
	})
	require.NoError(t, os.Chmod(path, 0o640))
	rev, err := s.ChangeFrom(0, "desk a", func(s *Settings) error { s.Profile = "other"; return nil })
	require.NoError(t, err)
	require.EqualValues(t, 2, rev)
	// A desk that has not seen that: the later change wins, and the first hears of it.
	_, err = s.ChangeFrom(1, "desk b", func(s *Settings) error { s.Profile = "links"; s.Strip.Theme = "jet"; return nil })
	require.NoError(t, err)
	require.Len(t, told, 2)
	require.Equal(t, []any{uint64(2), uint64(1), "desk a", 1}, []any{told[0].Rev, told[0].Base, told[0].By, told[0].Undo})
	require.Equal(t, []any{uint64(3), uint64(1), "desk b", "links"}, []any{told[1].Rev, told[1].Base, told[1].By, told[1].Settings.Profile})
	require.Equal(t, "# mine\nprofile = \"links\" # for now\nlamp = \"left\"\n\n[[profile_for]]\nname = \"links\"\nwindow = 2\n\n[[profile_for]]\nname = \"other\"\n\n[strip]\ntheme = \"jet\"\n", read(t, path))
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o640), info.Mode().Perm(), "the mode stays")

	// What is wrong changes nothing.
	for _, f := range []func(*Settings) error{
		ring(121),
		func(*Settings) error { return errors.New("no") },
		func(s *Settings) error { s.Profile = "nobody"; return nil },
	} {
		before := read(t, path)
		rev, err = s.Change(f)
		require.Error(t, err)
		require.EqualValues(t, 3, rev)
		require.Equal(t, before, read(t, path))
	}
	end()
	_, err = s.Change(ring(4))
	require.NoError(t, err)
	require.Len(t, told, 2)
	require.Empty(t, *warned)
}

// What Get gives can be changed without changing what is in force.
func TestSnapshotsAreCopies(t *testing.T) {
	s, _, _ := opened(t, mine)
	a := s.Get().Settings
	a.Profiles[0].Window = 99
	a.Strip.Options["x"] = "y"
	require.NotEqual(t, a, s.Get().Settings)
	require.EqualValues(t, 2, s.Get().Settings.Profiles[0].Window)
}

func TestUndo(t *testing.T) {
	s, path, _ := opened(t, mine)
	_, err := s.Undo()
	require.ErrorIs(t, err, ErrNothing)
	for i := range MaxUndo + 20 {
		_, err := s.Change(ring(i))
		require.NoError(t, err)
	}
	require.Equal(t, MaxUndo, s.Get().Undo)
	for i := range MaxUndo {
		_, err := s.Undo()
		require.NoError(t, err)
		require.Equal(t, MaxUndo+18-i, s.Get().Settings.Takes.RingMinutes)
	}
	_, err = s.Undo()
	require.ErrorIs(t, err, ErrNothing)
	require.Equal(t, MaxUndo, s.Get().Redo)
	f, err := ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, 19, f.Settings.Takes.RingMinutes)
	_, err = s.Redo()
	require.NoError(t, err)
	require.Equal(t, 20, s.Get().Settings.Takes.RingMinutes)
	_, err = s.Change(ring(7))
	require.NoError(t, err)
	_, err = s.Redo()
	require.ErrorIs(t, err, ErrNothing, "a change ends what could be done again")
}

// Any changes undone one by one lead back through every state to the first.
func TestUndoIsExact(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		s := Open(Options{})
		var states []Settings
		for range rapid.IntRange(1, 12).Draw(r, "changes") {
			before := s.Get().Settings
			rev := s.Get().Rev
			after, err := s.Change(ring(rapid.IntRange(-1, 4).Draw(r, "ring")))
			if err == nil && after != rev {
				states = append(states, before)
			}
		}
		for i := len(states) - 1; i >= 0; i-- {
			_, err := s.Undo()
			require.NoError(r, err)
			require.Equal(r, states[i], s.Get().Settings)
		}
		_, err := s.Undo()
		require.ErrorIs(r, err, ErrNothing)
	})
}

// A bad file stays as it is, whatever is changed, and the last good settings go
// on; when it is mended it is in force.
func TestBadFile(t *testing.T) {
	for name, c := range map[string]struct{ text, trouble string }{
		"half written": {mine + "[[profile_f", `:11: "[[profile_f": `},
		"newer":        {"version = 7\nprofiles = 3\n", `:1: "version = 7": version 7 is newer`},
		"wrong":        {mine + "[takes]\nring_minutes = \"ten\"\n", `:12: "ring_minutes = \"ten\"": ring_minutes must be a whole number, not the text "ten"`},
		"binary":       {"\x00\xff", "settings.toml:1: "},
		"emptied":      {"", "is empty all of a sudden"},
	} {
		t.Run(name, func(t *testing.T) {
			s, path, warned := opened(t, mine)
			_, err := s.Change(ring(5))
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(path, []byte(c.text), 0o600))
			require.True(t, s.Reload())
			require.False(t, s.Reload())
			require.Contains(t, *warned, c.trouble)
			require.Contains(t, *warned, "left alone")
			require.Equal(t, *warned, s.Get().Trouble)
			require.Equal(t, 5, s.Get().Settings.Takes.RingMinutes)

			rev, err := s.Change(ring(6))
			var unsaved *UnsavedError
			require.ErrorAs(t, err, &unsaved)
			require.EqualValues(t, 3, rev)
			require.Equal(t, 6, s.Get().Settings.Takes.RingMinutes, "a change is in force all the same")
			require.Equal(t, c.text, read(t, path))

			require.NoError(t, os.WriteFile(path, []byte(mine), 0o600))
			require.True(t, s.Reload())
			require.Empty(t, *warned)
			require.Equal(t, []any{10, ByFile}, []any{s.Get().Settings.Takes.RingMinutes, s.Get().By})
			_, err = s.Undo()
			require.NoError(t, err)
			require.Equal(t, 6, s.Get().Settings.Takes.RingMinutes, "and nothing that was set is lost")
		})
		t.Run(name+" moved away", func(t *testing.T) {
			s, path, warned := opened(t, mine)
			require.NoError(t, os.WriteFile(path, []byte(c.text), 0o600))
			_, err := s.Change(ring(6))
			require.Error(t, err)
			require.NoError(t, os.Rename(path, path+".old"))
			require.True(t, s.Reload())
			require.Empty(t, *warned)
			f, err := ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, 6, f.Settings.Takes.RingMinutes, "what was set meanwhile is stored")
		})
		if name == "emptied" {
			continue // at the start an empty file is one to begin
		}
		t.Run(name+" at the start", func(t *testing.T) {
			s, path, _ := opened(t, c.text)
			require.Contains(t, s.Get().Trouble, c.trouble)
			require.Equal(t, "everything", s.Get().Settings.Profile)
			_, err := s.Change(ring(6))
			require.Error(t, err)
			require.Equal(t, c.text, read(t, path))
		})
	}
}

// Storing is all or nothing: ended between any two steps, the file has the old
// text, and the next storing goes through.
func TestStoringIsAtomic(t *testing.T) {
	s, path, warned := opened(t, mine)
	crash := errors.New("crash")
	s.step = func(step string) error {
		require.Equal(t, "written", step)
		require.Equal(t, mine, read(t, path))
		require.FileExists(t, tempName(path))
		return crash
	}
	_, err := s.Change(ring(3))
	require.ErrorIs(t, err, crash)
	require.Contains(t, *warned, "crash")
	require.Equal(t, mine, read(t, path))
	require.FileExists(t, tempName(path), "as after a power cut")

	again := Open(Options{Path: path})
	require.Equal(t, 10, again.Get().Settings.Takes.RingMinutes)
	_, err = again.Change(ring(4))
	require.NoError(t, err)
	require.NoFileExists(t, tempName(path))

	// The first program goes on: it sees the other's change, and its own can be stored.
	s.step = nil
	_, err = s.Change(func(s *Settings) error { s.Strip.Theme = "jet"; return nil })
	require.NoError(t, err)
	require.Empty(t, *warned)
	f, err := ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, []any{4, "jet"}, []any{f.Settings.Takes.RingMinutes, f.Settings.Strip.Theme})
}

// A storing that failed is tried again with the next change, though it be none.
func TestStoringIsTriedAgain(t *testing.T) {
	s, path, warned := opened(t, mine)
	s.step = func(string) error { return errors.New("no space left") }
	_, err := s.Change(ring(3))
	require.Error(t, err)
	require.NotEmpty(t, *warned)
	s.step = nil
	_, err = s.Change(ring(3))
	require.NoError(t, err)
	require.Empty(t, *warned)
	f, err := ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, 3, f.Settings.Takes.RingMinutes)
}

func TestFileThatCannotBeChanged(t *testing.T) {
	// The profiles stand in a list in one line, and a header would go into it.
	s, path, _ := opened(t, "profile_for = [{name = 'a'}, {name = 'b'}] # odd\n")
	_, err := s.Change(func(s *Settings) error {
		s.Profiles[0].Targets = []Target{{Name: "t", Frames: 2}}
		return nil
	})
	require.NoError(t, err)
	f, err := ReadFile(path)
	require.NoError(t, err)
	require.EqualValues(t, 2, f.Settings.Profiles[0].Targets[0].Frames)
	require.Contains(t, read(t, path), "# odd")
}

// A link stays a link, and what it leads to is changed.
func TestLinkedFile(t *testing.T) {
	dir := t.TempDir()
	real, link := filepath.Join(dir, "dotfiles", "holdgap.toml"), filepath.Join(dir, "config", FileName)
	require.NoError(t, os.Mkdir(filepath.Dir(real), 0o700))
	require.NoError(t, os.Mkdir(filepath.Dir(link), 0o700))
	require.NoError(t, os.WriteFile(real, []byte(mine), 0o600))
	require.NoError(t, os.Symlink(real, link))
	s := Open(Options{Path: link})
	_, err := s.Change(ring(3))
	require.NoError(t, err)
	info, err := os.Lstat(link)
	require.NoError(t, err)
	require.NotZero(t, info.Mode()&os.ModeSymlink)
	require.Contains(t, read(t, real), "ring_minutes = 3")
}

// Two programs on one file, each with its own store and no watch: no change of
// either is lost.
func TestTwoWriters(t *testing.T) {
	_, path, _ := opened(t, mine)
	const n = 25
	var wg sync.WaitGroup
	for w := range 2 {
		wg.Go(func() {
			s := Open(Options{Path: path})
			for i := range n {
				_, err := s.Change(func(s *Settings) error {
					s.Strip.Options[fmt.Sprintf("w%d_%d", w, i)] = "1"
					return nil
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	f, err := ReadFile(path)
	require.NoError(t, err)
	require.Len(t, f.Settings.Strip.Options, 2*n)
	require.Contains(t, read(t, path), "# mine")
}

// A hand edit that was not seen yet comes before the change that finds it.
func TestEditBeforeChange(t *testing.T) {
	s, path, _ := opened(t, mine)
	require.NoError(t, os.WriteFile(path, []byte(mine+"# more\n[strip]\ntheme = \"jet\"\n"), 0o600))
	rev, err := s.Change(ring(3))
	require.NoError(t, err)
	require.EqualValues(t, 3, rev)
	require.Equal(t, "jet", s.Get().Settings.Strip.Theme)
	require.Contains(t, read(t, path), "# more")
	require.Equal(t, 2, s.Get().Undo)
}

// Edits are in force while the program runs, also in a folder that was not there,
// saved as editors do, and through a link.
func TestWatch(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "config", "holdgap", FileName)
	s := Open(Options{Path: path})
	ctx, cancel := context.WithCancel(t.Context())
	snaps := make(chan Snapshot, 100)
	defer s.Subscribe(func(snap Snapshot) { snaps <- snap })()
	done := make(chan error, 1)
	go func() { done <- s.Watch(ctx) }()
	until := func(what string, ok func(Snapshot) bool) {
		t.Helper()
		for {
			select {
			case snap := <-snaps:
				if ok(snap) {
					return
				}
			case err := <-done:
				require.NoError(t, err)
				t.Fatal("the watch ended early: ", what)
			case <-t.Context().Done():
				t.Fatal(what)
			}
		}
	}
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
	save := func(path, text string) {
		require.NoError(t, os.WriteFile(path+"~", []byte(text), 0o600))
		require.NoError(t, os.Rename(path+"~", path))
	}
	save(path, mine)
	until("a new folder", func(s Snapshot) bool { return s.Settings.Profile == "links" && s.By == ByFile })
	require.NoError(t, os.WriteFile(path, []byte(mine+"[takes]\nring_minutes = 3\n"), 0o600))
	until("written over", func(s Snapshot) bool { return s.Settings.Takes.RingMinutes == 3 })
	require.NoError(t, os.WriteFile(path, []byte(mine+"[takes]\nring_minu"), 0o600))
	until("half written", func(s Snapshot) bool { return s.Trouble != "" && s.Settings.Takes.RingMinutes == 3 })
	save(path, mine)
	until("mended", func(s Snapshot) bool { return s.Trouble == "" && s.Settings.Takes.RingMinutes == 10 })

	real := filepath.Join(dir, "real.toml")
	save(real, mine+"[takes]\nring_minutes = 4\n")
	require.NoError(t, os.Symlink(real, path+"~"))
	require.NoError(t, os.Rename(path+"~", path))
	until("a link", func(s Snapshot) bool { return s.Settings.Takes.RingMinutes == 4 })
	save(real, mine+"[takes]\nring_minutes = 5\n")
	until("behind the link", func(s Snapshot) bool { return s.Settings.Takes.RingMinutes == 5 })
	cancel()
	require.NoError(t, <-done)

	ctx, cancel = context.WithCancel(t.Context())
	cancel()
	require.NoError(t, Open(Options{}).Watch(ctx))
}
