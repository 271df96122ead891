package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
)

// event is one line of go test -json (go doc test2json).
type event struct {
	Action     string
	Package    string
	ImportPath string // of build output
	Test       string
	Output     string
}

// testLog gathers the events of one go test run.
type testLog struct {
	closing []string // each package's ok, FAIL or "no test files" line
	passed  int      // tests and subtests
	failed  int
	seeds   int      // fuzz seeds among the passed
	leftOut []string // skips that begin with "left out:"
	skipped []string // other skips
	failing string   // output of what failed
	output  map[string][]string
	build   strings.Builder
}

var (
	closingLine = regexp.MustCompile(`^(ok|FAIL|\?)\s*\t`)
	skipLine    = regexp.MustCompile(`^\s*\S+\.go:\d+: (.*)`)
	fuzzSeed    = regexp.MustCompile(`^Fuzz\w*/`)
)

// read takes all events from r.
func (l *testLog) read(r io.Reader) error {
	l.output = map[string][]string{}
	lines := bufio.NewReader(r)
	for {
		line, err := lines.ReadString('\n')
		if strings.TrimSpace(line) != "" {
			var ev event
			if jsonErr := json.Unmarshal([]byte(line), &ev); jsonErr != nil {
				l.build.WriteString(line) // go itself speaks plain text now and then
			} else {
				l.add(ev)
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

func (l *testLog) add(ev event) {
	key := ev.Package + " " + ev.Test
	switch ev.Action {
	case "build-output":
		l.build.WriteString(ev.Output)
	case "output":
		if ev.Test == "" && closingLine.MatchString(ev.Output) {
			l.closing = append(l.closing, strings.TrimRight(ev.Output, "\n"))
			return
		}
		l.output[key] = append(l.output[key], ev.Output)
	case "pass":
		if ev.Test != "" {
			l.passed++
			if fuzzSeed.MatchString(ev.Test) {
				l.seeds++
			}
		}
		delete(l.output, key)
	case "skip":
		l.skip(ev, l.output[key])
		delete(l.output, key)
	case "fail":
		if ev.Test != "" {
			l.failed++
		}
		l.failing += strings.Join(l.output[key], "")
		delete(l.output, key)
	}
}

func (l *testLog) skip(ev event, output []string) {
	if ev.Test == "" {
		return // a package without test files
	}
	text := ""
	for _, line := range output {
		if m := skipLine.FindStringSubmatch(strings.TrimRight(line, "\n")); m != nil {
			text = m[1] // the last message is the reason
		}
	}
	where := ev.Package + " " + ev.Test + ": "
	if rest, ok := strings.CutPrefix(text, "left out:"); ok {
		l.leftOut = append(l.leftOut, where+strings.TrimSpace(rest))
		return
	}
	if text == "" {
		text = "(no reason given)"
	}
	l.skipped = append(l.skipped, where+text)
}

// unfinished is the output of tests that neither passed nor failed, as after a
// panic or a timeout.
func (l *testLog) unfinished() string {
	var keys []string
	for key := range l.output {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	var b strings.Builder
	for _, key := range keys {
		if strings.HasSuffix(key, " ") && !strings.Contains(strings.Join(l.output[key], ""), "panic") {
			continue // a package's own chatter
		}
		b.WriteString(strings.Join(l.output[key], ""))
	}
	return b.String()
}

// result judges the log, given how go test itself ended.
func (l *testLog) result(runErr error) result {
	res := result{closing: l.closing, leftOut: l.leftOut}
	for _, s := range l.skipped {
		res.notes = append(res.notes, "skipped: "+s)
	}
	res.line = fmt.Sprintf("%d tests", l.passed)
	if l.seeds > 0 {
		res.line += fmt.Sprintf(", %d of them fuzz seeds", l.seeds)
	}
	if n := len(l.leftOut); n > 0 {
		res.line += fmt.Sprintf(", %d left out", n)
	}
	switch {
	case runErr != nil || l.failed > 0:
		res.failed = true
		res.line += fmt.Sprintf(", %d failed", l.failed)
		res.output = l.build.String() + l.failing + l.unfinished()
		if runErr != nil {
			res.output += runErr.Error() + "\n"
		}
	case l.passed == 0 && len(l.leftOut) == 0:
		res.failed = true
		res.line = "no test ran"
	}
	return res
}

// goTest runs go test -json with args and judges what came out.
func (e *env) goTest(ctx context.Context, args ...string) result {
	cmd := e.command(ctx, "go", append([]string{"test", "-json"}, args...)...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		return failure("", "starting go test: %v", err)
	}
	var complaints strings.Builder
	cmd.Stderr = &complaints
	if err := cmd.Start(); err != nil {
		return failure("", "starting go test: %v", err)
	}
	var log testLog
	readErr := log.read(out)
	runErr := cmd.Wait()
	endGroup(cmd)
	log.build.WriteString(complaints.String())
	return log.result(errors.Join(readErr, runErr))
}
