//go:build linux

package vmtest_test

import (
	"io"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/capture/evdev/vmtest"
)

func startPlayer(t *testing.T) *vmtest.Player {
	return vmtest.StartPlayer(t, vmtest.Server{
		Package: "./testdata/server", Args: []string{"127.0.0.1:7411"}, Ready: "server: listening on 127.0.0.1:7411",
	})
}

func get(t *testing.T, url string) string {
	t.Helper()
	defer http.DefaultClient.CloseIdleConnections()
	resp, err := http.Get(url)
	require.NoError(t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return string(body)
}

func keys(edges []vmtest.Edge) (out []string) {
	for _, e := range edges {
		out = append(out, map[bool]string{true: "+", false: "-"}[e.Down]+e.Key)
	}
	return out
}

func TestPlayerPressesAndServerAnswers(t *testing.T) {
	p := startPlayer(t)
	host := p.BaseURL[len("http://"):]
	require.Equal(t, "host "+host+"\n", get(t, p.BaseURL), "the Host header comes through the relay unchanged")

	for _, kind := range []string{"pad", "hid", "box"} {
		plugged := p.Do("plug " + kind)
		require.Len(t, plugged, 2)
		require.Regexp(t, `^/dev/input/event\d+$`, plugged[1])

		edges := p.Edges("press south 30 20 40")
		require.Equal(t, []string{"+south", "-south", "+south", "-south"}, keys(edges), kind)
		for i, least := range []int64{30, 20, 40} {
			length := time.Duration(edges[i+1].At - edges[i].At)
			assert.GreaterOrEqual(t, length, time.Duration(least)*time.Millisecond, kind)
			t.Logf("%s: asked for %d ms, got %v", kind, least, length)
		}
		require.Equal(t, []string{"+up", "+right"}, keys(append(p.Edges("down up"), p.Edges("down right")...)), kind)
		require.Equal(t, []string{"-up", "-right"}, keys(p.Edges("up up right")), kind)
	}
	p.Do("plug keyboard")
	require.Equal(t, []string{"+key_j", "-key_j"}, keys(p.Edges("press key_j 25")))
	// A device by its number: the pad is the first.
	require.Equal(t, []string{"+east"}, keys(p.Edges("@1 down east")))
	require.Empty(t, p.Edges("@1 axis x 30000"))
	require.Len(t, p.Do("@1 unplug"), 1)
	require.Len(t, p.Do("plug pad"), 2)

	status, _ := p.Stop()
	require.Equal(t, -1, status, "the stand-in server does not handle an interrupt")
	_, err := http.Get(p.BaseURL)
	require.Error(t, err, "nothing answers while the server is down")
	p.Start()
	require.Equal(t, "host "+host+"\n", get(t, p.BaseURL))
	p.Do("quit")
	failed, err := p.Machine.Wait()
	require.NoError(t, err)
	require.Zero(t, failed)
}
