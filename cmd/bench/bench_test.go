package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

// Nothing is said about how long anything takes: only that all is measured and
// that nothing is left running.
func TestEverythingIsMeasured(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	var out, notes bytes.Buffer
	code := run(t.Context(), []string{"--json", "--time", "50ms", "--rounds", "1", "--viewers", "1,3"}, &out, &notes)
	require.Equal(t, 0, code, notes.String())
	var r report
	require.NoError(t, json.Unmarshal(out.Bytes(), &r))
	var names []string
	for _, row := range r.Rows {
		names = append(names, row.Name)
		assert.Positive(t, row.Ours, row.Name)
		assert.Positive(t, row.Bare, row.Name)
		assert.InDelta(t, row.Ours/row.Bare, row.Ratio, 1e-9, row.Name)
	}
	for _, want := range []string{"frame of an edge", "judging an edge", "reading an edge from a take", "looking at a frame", "update to one viewer, median", "update to each of 3 viewers, 99 of 100"} {
		assert.True(t, strings.Contains(strings.Join(names, "\n"), want), "%s is missing in %q", want, names)
	}
	for _, b := range benches {
		assert.Contains(t, notes.String(), "measuring "+b.name)
	}
}

func TestTable(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, write(&out, false, []row{newRow("a thing", "ns", 3, 2), newRow("another", "%", 1234.5, 0)}))
	assert.Contains(t, out.String(), "1.50")
	assert.Contains(t, out.String(), "a thing")
	assert.Contains(t, out.String(), "1234")
	assert.Contains(t, out.String(), " - ")
}

func TestUsage(t *testing.T) {
	for _, args := range [][]string{{"x"}, {"--only", "x"}, {"--viewers", "0"}, {"--viewers", "1,x"}, {"--time", "0s"}, {"--rounds", "0"}, {"--nonsense"}} {
		var out, notes bytes.Buffer
		assert.Equal(t, 2, run(t.Context(), args, &out, &notes), "%q", args)
		assert.NotEmpty(t, notes.String())
		assert.Empty(t, out.String())
	}
	var out, notes bytes.Buffer
	assert.Equal(t, 0, run(t.Context(), []string{"--list"}, &out, &notes))
	assert.Contains(t, out.String(), "fanout")
}
