package take

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"holdgap/capture"
)

// child is what the test's binary does when a test starts it anew.
func child(job string) {
	path := os.Getenv("HOLDGAP_TEST_TAKE")
	switch job {
	case "record":
		childRecord(path)
	case "full":
		childFull(path)
	}
}

// childRecord records until it is killed. It tells its parent about each edge
// after handing it to the recorder.
func childRecord(path string) {
	pace, err := strconv.Atoi(os.Getenv("HOLDGAP_TEST_PACE"))
	check(err)
	r, err := Record(path, RecordOptions{Header: testHeader})
	check(err)
	tick := time.NewTicker(time.Duration(pace) * time.Microsecond)
	for i := 0; ; i++ {
		e := capture.Edge{At: Monotonic{}.Now(), Button: uint8(i % 64), Key: uint8(i / 64 % 64), Down: i%2 == 0}
		r.Edge(e)
		check(binary.Write(os.Stdout, binary.LittleEndian, e))
		<-tick.C
	}
}

// childFull records onto what looks like a full disk: a limit on the size of
// files, which the system sets on this process only.
func childFull(path string) {
	signal.Ignore(unix.SIGXFSZ)
	check(unix.Setrlimit(unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: 5000, Max: 5000}))
	stopped := make(chan error, 1)
	r, err := Record(path, RecordOptions{Header: testHeader, OnError: func(err error) { stopped <- err }})
	check(err)
	for _, e := range realistic(4000, 30) {
		r.Edge(e)
	}
	err = <-stopped
	if closed := r.Close(0); !errors.Is(closed, syscall.EFBIG) || closed != err {
		check(fmt.Errorf("closing gave %v, told was %v", closed, err))
	}
	fmt.Print(r.Status().Edges)
}

func check(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func startChild(job, path string, env ...string) *exec.Cmd {
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), "HOLDGAP_TEST_CHILD="+job, "HOLDGAP_TEST_TAKE="+path)
	c.Env = append(c.Env, env...)
	c.Stderr = os.Stderr
	return c
}

// Killed a hundred times with SIGKILL at any moment of recording: of the edges
// that were handed over, never one older than a second is missing, and never is
// one wrong, made up, or out of order.
func TestKilledWhileRecording(t *testing.T) {
	kills := 100
	if testing.Short() {
		kills = 10
	}
	dir := t.TempDir()
	var worst time.Duration
	var lost, all int
	var mu sync.Mutex
	var group sync.WaitGroup
	places := make(chan struct{}, 8)
	for k := range kills {
		places <- struct{}{}
		group.Go(func() {
			defer func() { <-places }()
			missing, total, age := killOnce(t, filepath.Join(dir, fmt.Sprint(k, ".take")), uint64(k))
			mu.Lock()
			defer mu.Unlock()
			worst, lost, all = max(worst, age), lost+missing, all+total
		})
	}
	group.Wait()
	t.Logf("%d kills: %d of %d edges missing, the oldest %v old", kills, lost, all, worst)
	assert.LessOrEqual(t, worst, time.Second)
}

func killOnce(t *testing.T, path string, seed uint64) (missing, total int, age time.Duration) {
	rnd := rand.New(rand.NewPCG(seed, 30))
	paces := []int{300, 3000, 20_000, 80_000} // µs between edges
	pace := paces[rnd.IntN(len(paces))]
	after := 1 + rnd.IntN(1_500_000/pace) // edges before the kill: up to 1.5 s
	c := startChild("record", path, "HOLDGAP_TEST_PACE="+strconv.Itoa(pace))
	out, err := c.StdoutPipe()
	if !assert.NoError(t, err) || !assert.NoError(t, c.Start()) {
		return
	}
	in := bufio.NewReader(out)
	var told []capture.Edge
	for {
		var e capture.Edge
		if err := binary.Read(in, binary.LittleEndian, &e); err != nil {
			// Half an edge in the pipe was killed too.
			if err != io.EOF && err != io.ErrUnexpectedEOF {
				assert.NoError(t, err)
			}
			break
		}
		told = append(told, e)
		if len(told) == after {
			assert.NoError(t, c.Process.Signal(syscall.SIGKILL))
		}
	}
	died := Monotonic{}.Now()
	_ = c.Wait() // "signal: killed"
	if !assert.GreaterOrEqual(t, len(told), after, "the child ended by itself") {
		return
	}
	b, err := os.ReadFile(path)
	if !assert.NoError(t, err) {
		return
	}
	got, _, rep, err := decode(b)
	if !assert.NoError(t, err) || !assert.Zero(t, rep.Places, "%v", rep) {
		return
	}
	// One more edge than was told may be in the file: the child was killed
	// between handing it over and telling.
	n := min(len(got), len(told))
	if !assert.LessOrEqual(t, len(got), len(told)+1) || !assert.True(t, slices.Equal(told[:n], got[:n]), "pace %d: a wrong edge", pace) {
		return
	}
	if n < len(told) {
		missing, age = len(told)-n, time.Duration(died-told[n].At)
	}
	return missing, len(told), age
}

// On a file system that takes no more, with a real file: see childFull.
func TestFileThatMayNotGrow(t *testing.T) {
	path := filepath.Join(t.TempDir(), "full.take")
	c := startChild("full", path)
	out, err := c.Output()
	require.NoError(t, err)
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	got, _, rep, err := decode(b)
	require.NoError(t, err)
	assert.True(t, rep.Whole(), "%v", rep)
	assert.Equal(t, string(bytes.TrimSpace(out)), fmt.Sprint(len(got)))
	assert.Equal(t, realistic(4000, 30)[:len(got)], got)
	assert.Greater(t, len(b), 4900)
}
