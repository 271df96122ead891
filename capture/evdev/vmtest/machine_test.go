//go:build linux

package vmtest_test

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"holdgap/capture/evdev/vmtest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

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

	require.Equal(t, "host "+m.Addr(80)+"\n", get(t, "http://"+m.Addr(80)))
	t.Logf("answered after %v", time.Since(start))
	m.Close()
	_, err = m.Wait()
	require.ErrorContains(t, err, "stopped before its end")
	_, err = m.WaitLine(ctx, "never printed")
	require.ErrorContains(t, err, "server: listening", "the console's last lines help to find out why")
}

func TestMachineTellsHowCommandsEnded(t *testing.T) {
	vmtest.Require(t)
	program := filepath.Join(t.TempDir(), "server")
	require.NoError(t, vmtest.Build(t.Context(), program, "./testdata/server", "", false))
	m, err := vmtest.Boot(t.Context(), vmtest.Config{
		Files: map[string]string{"/bin/server": program},
		Run: []vmtest.Command{
			{Path: "/bin/server", Args: []string{"10.0.2.15:80"}, Background: true},
			{Path: "/bin/server", Args: []string{"no address"}},
			{Path: "/bin/missing"},
			{Path: "/bin/server", Args: []string{"10.9.9.9:80"}}, // not an address of this machine
		},
	})
	require.NoError(t, err)
	defer m.Close()
	failed, err := m.Wait()
	require.NoError(t, err)
	require.Equal(t, 3, failed, "%q", m.Console())
	for _, line := range []string{"vmtest: done 1 status 1", "vmtest: done 2 status -1", "vmtest: done 3 status 1"} {
		_, err := m.WaitLine(t.Context(), line)
		require.NoError(t, err)
	}
}

func TestMachineEndsAtItsTimeLimitAndWithItsContext(t *testing.T) {
	vmtest.Require(t)
	m, err := vmtest.Boot(t.Context(), vmtest.Config{Timeout: time.Millisecond})
	require.NoError(t, err)
	defer m.Close()
	_, err = m.Wait()
	require.ErrorContains(t, err, "time limit of 1ms")

	ctx, cancel := context.WithCancel(t.Context())
	m, err = vmtest.Boot(ctx, vmtest.Config{})
	require.NoError(t, err)
	defer m.Close()
	cancel()
	_, err = m.Wait()
	require.ErrorIs(t, err, context.Canceled)
}

func TestWithoutAKernelTestsAreLeftOut(t *testing.T) {
	t.Setenv("HOLDGAP_CACHE", t.TempDir())
	_, err := vmtest.FindKernel()
	require.ErrorIs(t, err, vmtest.ErrNoKernel)
	_, err = vmtest.Boot(t.Context(), vmtest.Config{})
	require.ErrorIs(t, err, vmtest.ErrNoKernel)

	for strict, want := range map[string]string{"": "skipped", "0": "skipped", "1": "failed"} {
		t.Setenv("HOLDGAP_STRICT", strict)
		fake := &fakeTB{TB: t}
		vmtest.Require(fake)
		require.Equal(t, want, fake.outcome, "HOLDGAP_STRICT=%q", strict)
		require.True(t, strings.HasPrefix(fake.text, "left out: "), fake.text)
	}
}

// fakeTB takes down how a test ended.
type fakeTB struct {
	testing.TB
	outcome, text string
}

func (f *fakeTB) Helper() {}
func (f *fakeTB) Skipf(format string, args ...any) {
	f.outcome, f.text = "skipped", fmt.Sprintf(format, args...)
}
func (f *fakeTB) Fatalf(format string, args ...any) {
	f.outcome, f.text = "failed", fmt.Sprintf(format, args...)
}
