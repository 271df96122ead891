package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The bare program runs live, prints the strip's address, answers there, and
// ends within a second when asked.
func TestLiveRunsAndEnds(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	ctx, cancel := context.WithCancel(t.Context())
	out, in := io.Pipe()
	var stderr bytes.Buffer
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, []string{"--addr", "127.0.0.1:0", "--source", "demo"}, in, &stderr)
		in.Close()
	}()
	lines := bufio.NewScanner(out)
	require.True(t, lines.Scan())
	name, address, ok := strings.Cut(lines.Text(), " ")
	require.True(t, ok)
	require.Equal(t, "strip", name)
	address = strings.TrimSpace(address)
	go func() { _, _ = io.Copy(io.Discard, out) }()
	resp, err := http.Get(address)
	require.NoError(t, err)
	page, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	resp.Body.Close()
	require.Equal(t, http.StatusOK, resp.StatusCode)
	require.Contains(t, string(page), "<canvas")
	began := time.Now()
	cancel()
	require.Zero(t, <-code, "%s", &stderr)
	require.Less(t, time.Since(began), time.Second)
	require.Empty(t, stderr.String())
}

func TestLivePortTaken(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	var stderr bytes.Buffer
	require.Equal(t, 1, run(t.Context(), []string{"live", "--addr", l.Addr().String()}, io.Discard, &stderr))
	require.Contains(t, stderr.String(), l.Addr().String())
	require.Contains(t, stderr.String(), "taken")
	require.NotContains(t, stderr.String(), "See holdgap")
}
