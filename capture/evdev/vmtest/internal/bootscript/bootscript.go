// Package bootscript is what the host tells the guest's /init: a file in the
// initial RAM file system, and the lines that /init prints on the console.
package bootscript

import (
	"fmt"
	"strconv"
	"strings"
)

// Path of the script inside the guest.
const Path = "/bootscript.json"

// Script is what /init does before it powers the machine off.
type Script struct {
	Modules  []string  // guest paths of kernel modules, in the order of loading
	Commands []Command // run one after the other
}

// Command is one program run in the guest.
type Command struct {
	Path string   // guest path
	Args []string // without the program's name
	Env  []string // KEY=value, added to PATH, HOME=/tmp and TMPDIR=/tmp
	// Background starts the command and goes on; it is killed once the others
	// are done, and its exit status does not matter.
	Background bool
}

// The marks that /init prints, each on a line of its own.
const (
	Ready = "vmtest: ready"
	done  = "vmtest: done "
	end   = "vmtest: end "
)

// Done is the line printed after command number i (from 0) ended.
func Done(i, status int) string { return fmt.Sprintf("%s%d status %d", done, i, status) }

// End is the last line: how many commands ended with a status other than 0,
// or why /init gave up.
func End(failed int, trouble error) string {
	if trouble != nil {
		return end + "trouble: " + strings.ReplaceAll(trouble.Error(), "\n", " ")
	}
	return end + strconv.Itoa(failed)
}

// ParseEnd reads an [End] line.
func ParseEnd(line string) (failed int, trouble string, ok bool) {
	text, ok := strings.CutPrefix(line, end)
	if !ok {
		return 0, "", false
	}
	if trouble, ok := strings.CutPrefix(text, "trouble: "); ok {
		return 0, trouble, true
	}
	failed, err := strconv.Atoi(text)
	return failed, "", err == nil
}
