//go:build linux

package vmtest_test

import (
	"io"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdgap/capture/evdev/vmtest"
)

func TestBootRunsCommandsAndForwards(t *testing.T) {
	vmtest.Require(t)
	ctx := t.Context()
	program := filepath.Join(t.TempDir(), "server")
	require.NoError(t, vmtest.Build(ctx, program, "./testdata/server", "", false))
	start := time.Now()
	m, err := vmtest.Boot(ctx, vmtest.Config{
		Files:   map[string]string{"/bin/server": program},
		Run:     []vmtest.Command{{Path: "/bin/server", Args: []string{"10.0.2.15:80"}}},
		Forward: []int{80},
	})
	require.NoError(t, err)
	defer m.Close()
	_, err = m.WaitLine(ctx, "server: listening on 10.0.2.15:80")
	require.NoError(t, err)
	t.Logf("listening after %v", time.Since(start))

	resp, err := http.Get("http://" + m.Addr(80))
	require.NoError(t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	require.Equal(t, "host "+m.Addr(80)+"\n", string(body))
	t.Logf("answered after %v", time.Since(start))
}
