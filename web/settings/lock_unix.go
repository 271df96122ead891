//go:build unix

package settings

import (
	"errors"
	"fmt"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// How long another program that is storing is waited for.
const (
	lockPause = 5 * time.Millisecond
	lockTries = 100
)

// lockFolder keeps other programs from storing settings in the folder until
// unlock is called. The lock is the kernel's and ends with the program.
func lockFolder(dir string) (unlock func(), err error) {
	f, err := os.Open(dir)
	if err != nil {
		return nil, err
	}
	for range lockTries {
		err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if !errors.Is(err, unix.EWOULDBLOCK) && !errors.Is(err, unix.EINTR) {
			break
		}
		time.Sleep(lockPause)
	}
	if errors.Is(err, unix.EWOULDBLOCK) {
		_ = f.Close()
		return nil, fmt.Errorf("another holdgap has been storing in %q for half a second: try again", dir)
	}
	// Other errors are of file systems without locks; storing is atomic anyhow.
	return func() { _ = f.Close() }, nil
}
