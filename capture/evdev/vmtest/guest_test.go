//go:build linux

package vmtest_test

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdgap/capture/evdev/vmtest"
)

var guestResult = regexp.MustCompile(`^--- (PASS|FAIL|SKIP): (\S+) \(`)

// TestGuest runs the tests of package guest inside a machine, and tells each of
// them as a test of its own here.
func TestGuest(t *testing.T) {
	vmtest.Require(t)
	program := filepath.Join(t.TempDir(), "guest.test")
	require.NoError(t, vmtest.Build(t.Context(), program, "holdgap/capture/evdev/vmtest/guest", "vm", true))
	m, err := vmtest.Boot(t.Context(), vmtest.Config{
		Files:   map[string]string{"/bin/guest.test": program},
		Run:     []vmtest.Command{{Path: "/bin/guest.test", Args: []string{"-test.v", "-test.timeout=3m"}}},
		Timeout: 4 * time.Minute,
	})
	require.NoError(t, err)
	defer m.Close()
	failed, err := m.Wait()
	console := m.Console()
	t.Logf("the test machine's console:\n%s", strings.Join(console, "\n"))
	require.NoError(t, err)

	ran := 0
	for _, line := range console {
		result := guestResult.FindStringSubmatch(line)
		if result == nil {
			continue
		}
		ran++
		t.Run(result[2], func(t *testing.T) {
			// Everything that a test in there could miss is under our control,
			// so a skipped one is a fault too.
			require.Equal(t, "PASS", result[1], "the console above says more")
		})
	}
	require.Zero(t, failed, "the tests in the machine ended with an error")
	require.Contains(t, console, "PASS", "the closing line of the tests")
	require.NotZero(t, ran)
}
