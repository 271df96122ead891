//go:build !linux

package evdev

import (
	"context"

	"holdgap/capture"
)

// Source cannot read anything on this system.
type Source struct{}

var _ capture.Source = (*Source)(nil)

// New makes a Source whose Run fails.
func New(Options) *Source { return &Source{} }

// Run returns ErrUnsupported.
func (*Source) Run(context.Context, capture.Sink) error { return ErrUnsupported }

// Rebind checks the names as it does on Linux and changes nothing.
func (*Source) Rebind(keys []string) error {
	_, err := boundKeys(keys)
	return err
}

// Scan returns ErrUnsupported.
func Scan(string) ([]Info, error) { return nil, ErrUnsupported }

// Watch returns ErrUnsupported.
func Watch(context.Context, string, []Info) error { return ErrUnsupported }
