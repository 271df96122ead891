package settings

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// Problem is one thing wrong with settings.
type Problem struct {
	File string `json:"file,omitempty"`
	Line int    `json:"line,omitempty"` // of the file, from 1; 0 when it is not about a line
	Text string `json:"text,omitempty"` // that line
	// Path leads to the value in the terms of the file, for example
	// profile_for.0.button.2.keys; array elements count from 0.
	Path   string `json:"path,omitempty"`
	Reason string `json:"reason"` // in words, with the remedy
	// Newer says that a newer program wrote the file.
	Newer bool `json:"newer,omitempty"`
}

// longestQuote bounds a line that is quoted, in characters.
const longestQuote = 60

// Error returns the file, the line with its text, and the reason.
func (p Problem) Error() string {
	var b strings.Builder
	if p.File != "" {
		b.WriteString(p.File)
		if p.Line > 0 {
			fmt.Fprintf(&b, ":%d", p.Line)
		}
		b.WriteString(": ")
	}
	if text := strings.TrimSpace(p.Text); text != "" {
		if r := []rune(text); len(r) > longestQuote {
			text = string(r[:longestQuote]) + "…"
		}
		b.WriteString(strconv.Quote(text) + ": ")
	}
	b.WriteString(p.Reason)
	return b.String()
}

// Problems are everything wrong with settings, in the order of the file.
type Problems []Problem

// Error returns every problem on a line of its own.
func (p Problems) Error() string {
	lines := make([]string, len(p))
	for i := range p {
		lines[i] = p[i].Error()
	}
	return strings.Join(lines, "\n")
}

// ProblemsOf returns the problems in an error of this package, or the error as
// the only one.
func ProblemsOf(err error) Problems {
	var list Problems
	var one Problem
	switch {
	case err == nil:
		return nil
	case errors.As(err, &list):
		return list
	case errors.As(err, &one):
		return Problems{one}
	}
	return Problems{{Reason: err.Error()}}
}

// err returns the list as an error, or nil when it is empty.
func (p Problems) err() error {
	if len(p) == 0 {
		return nil
	}
	return p
}

// UnsavedError says that a change is in force but could not be stored.
type UnsavedError struct{ Err error }

// Error says so, and why.
func (e *UnsavedError) Error() string {
	return "the change is in force for now but was not stored: " + e.Err.Error()
}

// Unwrap returns why.
func (e *UnsavedError) Unwrap() error { return e.Err }
