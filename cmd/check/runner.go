package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"
)

// check is one named check.
type check struct {
	name  string
	about string   // one line for --list
	needs []string // names of needs without which it is left out
	run   func(ctx context.Context, e *env) result
}

// result is what a check found.
type result struct {
	line    string   // one line: what was looked at, or what is wrong
	closing []string // lines to show whether or not it passed
	notes   []string // worth knowing, but no failure
	leftOut []string // what could not be looked at, with the reason
	output  string   // everything, shown on failure
	failed  bool
}

func passed(format string, a ...any) result { return result{line: fmt.Sprintf(format, a...)} }

func failure(output, format string, a ...any) result {
	return result{line: fmt.Sprintf(format, a...), output: output, failed: true}
}

// stage is a set of lanes that run side by side; a lane runs its checks one
// after the other. Stages follow one another.
type stage [][]check

func flatten(stages []stage) []check {
	var out []check
	for _, s := range stages {
		for _, lane := range s {
			out = append(out, lane...)
		}
	}
	return out
}

func names(stages []stage) []string {
	var out []string
	for _, c := range flatten(stages) {
		out = append(out, c.name)
	}
	return out
}

// choose leaves the checks that the options ask for.
func choose(stages []stage, o options) []stage {
	keep := func(c check) bool {
		if len(o.only) > 0 {
			return slices.Contains(o.only, c.name)
		}
		return c.name != "fuzz" || o.fuzz > 0
	}
	var out []stage
	for _, s := range stages {
		var left stage
		for _, lane := range s {
			lane = slices.DeleteFunc(slices.Clone(lane), func(c check) bool { return !keep(c) })
			if len(lane) > 0 {
				left = append(left, lane)
			}
		}
		if len(left) > 0 {
			out = append(out, left)
		}
	}
	return out
}

// needed are the names of all needs and wants of the stages.
func needed(stages []stage) []string {
	var out []string
	for _, c := range flatten(stages) {
		for _, n := range append(slices.Clone(c.needs), wants(c.name)...) {
			if !slices.Contains(out, n) {
				out = append(out, n)
			}
		}
	}
	return out
}

// printer writes whole blocks, so that lanes do not mix within one.
type printer struct {
	mu sync.Mutex
	w  io.Writer
}

func (p *printer) print(lines ...string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, line := range lines {
		fmt.Fprintln(p.w, strings.TrimRight(line, "\n"))
	}
}

// runner runs checks and counts them.
type runner struct {
	env    *env
	out    *printer
	strict bool

	mu      sync.Mutex
	passed  int
	failed  []string
	leftOut []string
}

func (r *runner) runStages(ctx context.Context, stages []stage) {
	for _, s := range stages {
		var lanes sync.WaitGroup
		for _, lane := range s {
			lanes.Go(func() {
				for _, c := range lane {
					if ctx.Err() != nil {
						return
					}
					r.one(ctx, c)
				}
			})
		}
		lanes.Wait()
	}
}

func (r *runner) one(ctx context.Context, c check) {
	start := time.Now()
	var res result
	if reason := r.env.missing(c.needs); reason != "" {
		res.leftOut = []string{reason}
		res.line = "left out: " + reason
	} else {
		r.out.print("start " + c.name)
		res = c.run(ctx, r.env)
	}
	if ctx.Err() != nil && res.failed {
		res.line, res.output = "interrupted", ""
	}
	r.count(c, res, time.Since(start))
}

// count files the result and prints it.
func (r *runner) count(c check, res result, took time.Duration) {
	if r.strict && len(res.leftOut) > 0 && !res.failed {
		res.failed = true
	}
	word := "ok   "
	r.mu.Lock()
	for _, l := range res.leftOut {
		r.leftOut = append(r.leftOut, c.name+": "+l)
	}
	switch {
	case res.failed:
		word = "FAIL "
		r.failed = append(r.failed, c.name)
	case len(res.leftOut) > 0 && strings.HasPrefix(res.line, "left out:"):
		word = "left "
	default:
		r.passed++
	}
	r.mu.Unlock()

	var lines []string
	if res.failed && strings.TrimSpace(res.output) != "" {
		lines = append(lines, "---- output of "+c.name+" ----", res.output, "---- end of "+c.name+" ----")
	}
	lines = append(lines, res.closing...)
	lines = append(lines, fmt.Sprintf("%s %-10s %6.1fs  %s", word, c.name, took.Seconds(), res.line))
	for _, n := range res.notes {
		lines = append(lines, "      note: "+n)
	}
	r.out.print(lines...)
}

// summary prints the closing lines and returns the exit status.
func (r *runner) summary(ctx context.Context) int {
	lines := []string{""}
	for _, l := range r.leftOut {
		lines = append(lines, "left out: "+l)
	}
	if len(r.failed) > 0 {
		lines = append(lines, "failed: "+strings.Join(r.failed, ", "))
	}
	if ctx.Err() != nil {
		lines = append(lines, "interrupted: the checks that are not listed did not run")
	}
	if r.passed == 0 && len(r.failed) == 0 {
		lines = append(lines, "nothing was checked")
	}
	lines = append(lines, fmt.Sprintf("%d passed, %d failed", r.passed, len(r.failed)))
	r.out.print(lines...)
	if len(r.failed) > 0 || r.passed == 0 || ctx.Err() != nil {
		return 1
	}
	return 0
}
