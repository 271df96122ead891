package themes_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"holdgap/themes"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

// A strip follows its theme while the file is saved, even if the folder comes
// into being meanwhile.
func TestWatch(t *testing.T) {
	defer goleak.VerifyNone(t)
	dir := filepath.Join(t.TempDir(), "themes")
	s := themes.NewStore(dir)
	ctx, cancel := context.WithCancel(t.Context())
	changes := make(chan struct{}, 100)
	done := make(chan error, 1)
	go func() { done <- s.Watch(ctx, func() { changes <- struct{}{} }) }()
	until := func(what string, ok func() bool) {
		for !ok() {
			select {
			case <-changes:
			case err := <-done:
				require.NoError(t, err, what)
				t.Fatal("the watch ended early: ", what)
			case <-t.Context().Done():
				t.Fatal(what)
			}
		}
	}
	label := func(name string) string {
		th, _ := s.Get(name)
		return th.Label
	}
	require.NoError(t, os.Mkdir(dir, 0o755))
	// Saved as editors do: written beside it, then moved over.
	write := func(text string) {
		tmp := filepath.Join(dir, ".mine.swp")
		require.NoError(t, os.WriteFile(tmp, []byte(text), 0o644))
		require.NoError(t, os.Rename(tmp, filepath.Join(dir, "mine.toml")))
	}
	write("label = 'One'\n")
	until("a new folder and file", func() bool { return label("mine") == "One" })
	write("label = 'Two'\n")
	until("a changed file", func() bool { return label("mine") == "Two" })
	write("label = 7\n")
	until("a wrong file", func() bool { return len(s.Troubles()) == 1 })
	assert.Equal(t, "Two", label("mine"))
	require.NoError(t, os.Remove(filepath.Join(dir, "mine.toml")))
	until("a file taken away", func() bool { _, ok := s.Get("mine"); return !ok })
	cancel()
	require.NoError(t, <-done)
}
