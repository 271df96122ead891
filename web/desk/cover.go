package desk

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"

	"holdgap/overlay/frame"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
	"holdgap/web/settings"
)

// Cover is what a target comes to, for drawing it while its numbers change.
type Cover struct {
	Window int64 `json:"window"` // frames; 0 is no link
	Short  int64 `json:"short"`  // frames that are missing for a link
	// Opening is how many frames after the starter's press the window opens; 0
	// without a starter.
	Opening int64 `json:"opening"`

	Presses int   `json:"presses"`
	Spacing int64 `json:"spacing"` // frames from press to press
	// Suggested says that presses or spacing were not given, and these are the
	// ones that cover the most without a hole.
	Suggested bool          `json:"suggested"`
	Starts    int64         `json:"starts"` // covered
	Runs      []window.Span `json:"runs"`   // covered starts, counted from the window's first frame
	Holes     []window.Span `json:"holes"`
	Best      int64         `json:"best"` // spacing that covers the most without a hole; 0 for none
	Advice    string        `json:"advice"`

	// Error says what is wrong, and Field which value: name, frames, advantage,
	// startup, buffer, presses, spacing, early, hold, opening, button or starter.
	Error string `json:"error,omitempty"`
	Field string `json:"field,omitempty"`
}

func (d *Desk) cover(w http.ResponseWriter, r *http.Request) {
	var t settings.Target
	if err := decode(r.Body, &t); err != nil {
		refuse(w, http.StatusBadRequest, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	_ = json.NewEncoder(w).Encode(coverOf(&t))
}

// coverOf works a target out; whatever is wrong is told in it.
func coverOf(t *settings.Target) Cover {
	c := Cover{Runs: []window.Span{}, Holes: []window.Span{}}
	fail := func(field string, err error) Cover {
		c.Field, c.Error = field, err.Error()
		var fe *window.FieldError
		if errors.As(err, &fe) {
			c.Field, c.Error = fe.Field, fe.Reason
		}
		return c
	}
	width, short, err := t.WindowFrames()
	if err != nil {
		return fail("frames", err)
	}
	c.Window, c.Short = int64(max(width, 0)), int64(short)
	var rules window.Rules
	if t.Early != "" {
		if rules, err = window.ParseEarly(t.Early); err != nil {
			return fail("early", err)
		}
	}
	rules.Hold = frame.Frame(t.Hold)
	if err := rules.Validate(); err != nil {
		return fail("hold", err)
	}
	if t.Starter != "" {
		c.Opening = int64(t.OpeningFrames())
		if c.Opening < 1 || c.Opening > int64(window.MaxFrames) {
			return fail("opening", fmt.Errorf("the window must open 1 to %d frames after the starter's press", window.MaxFrames))
		}
	}
	n, spacing := t.Presses, frame.Frame(t.Spacing)
	if n == 0 {
		n, c.Suggested = 2, true
	}
	if n < 0 || n > session.MaxMulti {
		return fail("presses", fmt.Errorf("give 1 to %d presses", session.MaxMulti))
	}
	best := window.BestSpacing(width, rules, n, nil)
	c.Best = int64(best.Spacing)
	if spacing == 0 {
		spacing, c.Suggested = max(best.Spacing, window.MinSpacing), true
	}
	plan := window.Equal(n, spacing)
	if err := plan.Validate(); err != nil {
		return fail("spacing", err)
	}
	c.Presses, c.Spacing = n, int64(spacing)
	if width <= 0 {
		c.Advice = window.Advise(1-short, rules, plan)
		return c
	}
	cover := plan.Cover(width, rules)
	c.Starts = int64(cover.Size())
	for i := range cover.Runs() {
		c.Runs = append(c.Runs, cover.Run(i))
	}
	c.Holes = cover.AppendHoles(c.Holes)
	c.Advice = window.Advise(width, rules, plan)
	return c
}
