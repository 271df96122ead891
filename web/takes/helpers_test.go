package takes_test

import (
	"bytes"
	"context"
	"io"
	"time"
)

func newBytes(b []byte) io.Reader { return bytes.NewReader(b) }

// fakeClock tells the bubble's time.
type fakeClock func() int64

func (c fakeClock) Now() int64 { return c() }

func (c fakeClock) Until(ctx context.Context, at int64) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(time.Duration(at - c())):
		return nil
	}
}
