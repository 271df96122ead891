package takes

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"holdgap/capture"
	"holdgap/capture/take"
	"holdgap/web/live"
)

// Replay plays a take into an engine, as a source.
type Replay struct {
	Path   string
	Speed  float64
	Engine *live.Engine
	IDs    capture.IDs
	// Clock is for tests; nil is the machine's monotonic clock.
	Clock take.Clock
}

// ParseReplay reads FILE or FILE@SPEED.
func ParseReplay(s string) (path string, speed float64, err error) {
	path, speed = s, 1
	if i := strings.LastIndexByte(s, '@'); i >= 0 {
		v, err := strconv.ParseFloat(s[i+1:], 64)
		switch {
		case err == nil && v >= 0.01 && v <= 100:
			path, speed = s[:i], v
		case err == nil:
			return "", 0, fmt.Errorf("take %q: a speed of %v is outside 0.01 to 100", s, v)
		}
	}
	if path == "" {
		return "", 0, fmt.Errorf("take %q: write the take's file, for example take:%s or take:%s@0.5", s, "session.take", "session.take")
	}
	return path, speed, nil
}

// Setup returns what the take was recorded under, so that it is replayed by the
// same rules, and whether the take says so at all.
func (r *Replay) Setup(ctx context.Context) (live.Setup, bool, error) {
	f, err := Open(ctx, r.Path, nil)
	if err != nil {
		return live.Setup{}, false, err
	}
	return f.Parts[0].Setup, len(f.Scan.Settings) > 0, nil
}

// Run plays the take once and then waits for ctx to end. The edges get the times
// at which they are due now. It is a [capture.Source].
func (r *Replay) Run(ctx context.Context, sink capture.Sink) error {
	src, err := os.Open(r.Path)
	if err != nil {
		return fmt.Errorf("playing a take: %w", err)
	}
	defer src.Close()
	dev := capture.Device{ID: r.IDs.Next(), Name: filepath.Base(r.Path), Source: "take"}
	sink.Attach(dev)
	r.Engine.SetReplay(true)
	reader := take.NewReader(src)
	p := take.Player{Edges: reader.Edges(), Speed: r.Speed, Release: true, Clock: r.Clock}
	last := int64(0)
	err = p.Run(ctx, func(e capture.Edge) {
		last = e.At
		r.Engine.Edges(e)
	})
	r.Engine.SetReplay(false)
	sink.Detach(dev.ID, last)
	if err != nil {
		return err
	}
	if rep := reader.Report(); !rep.Whole() {
		sink.Warn("take damaged", fmt.Sprintf("The take %q was not whole: %s holdgap takes repair writes a sound copy.", dev.Name, rep))
	}
	<-ctx.Done()
	return nil
}
