package main

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"holdgap/themes"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func themeVerb(args ...string) (string, error) {
	var out bytes.Buffer
	cmd := themeCommand()
	cmd.SetArgs(args)
	cmd.SetOut(&out)
	cmd.SetErr(&out)
	cmd.SilenceErrors, cmd.SilenceUsage = true, true
	err := cmd.Execute()
	return out.String(), err
}

// What show prints is a file that check finds good, for every theme that list names.
func TestThemeShowThenCheck(t *testing.T) {
	list, err := themeVerb("list")
	require.NoError(t, err)
	for _, name := range themes.Names() {
		assert.Contains(t, list, name)
		text, err := themeVerb("show", name)
		require.NoError(t, err)
		file := filepath.Join(t.TempDir(), "mine.toml")
		require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
		said, err := themeVerb("check", file)
		require.NoError(t, err, said)
		assert.Contains(t, said, file+": good")
	}
}

func TestThemeCheckTellsLines(t *testing.T) {
	file := filepath.Join(t.TempDir(), "mine.toml")
	require.NoError(t, os.WriteFile(file, []byte("[size]\ndigit = 7\nthred = 2\n"), 0o644))
	said, err := themeVerb("check", file, file+".none")
	assert.EqualError(t, err, "3 things are wrong in the themes")
	assert.Contains(t, said, file+":2: size.digit = 7: must be a number from 12 to 96")
	assert.Contains(t, said, file+":3: key \"size.thred\" is not known: did you mean size.thread?")
	assert.Contains(t, said, file+".none: cannot be read: no such file or directory")

	require.NoError(t, os.WriteFile(file, []byte("[colour]\nbead_text = '#f6e4b0'\n"), 0o644))
	said, err = themeVerb("check", file)
	require.Error(t, err)
	assert.Contains(t, said, "count in a bead: #f6e4b0 on #f6e4b6 has contrast 1.0")
}

func TestThemeUsage(t *testing.T) {
	for _, args := range [][]string{{"check"}, {"show"}, {"show", "Nobody"}, {"show", "nobody"}, {"show", "jet", "two"}, {"paint"}, {"list", "x"}} {
		_, err := themeVerb(args...)
		var usage usageError
		assert.True(t, errors.As(err, &usage), "%q: %v", args, err)
	}
}
