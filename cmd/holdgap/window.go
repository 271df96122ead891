package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"holdgap/overlay/frame"
	"holdgap/overlay/window"
)

// framesFlag is a flag's whole number of frames.
type framesFlag frame.Frame

func (f *framesFlag) Type() string   { return "frames" }
func (f *framesFlag) String() string { return strconv.FormatInt(int64(*f), 10) }
func (f *framesFlag) Set(s string) error {
	v, err := parseFrames(s)
	*f = framesFlag(v)
	return err
}

// parseFrames reads a whole number of frames, at most a million either way.
func parseFrames(s string) (frame.Frame, error) {
	v, err := strconv.ParseInt(strings.TrimSpace(s), 10, 64)
	switch {
	case errors.Is(err, strconv.ErrRange) || err == nil && (v > 1_000_000 || v < -1_000_000):
		return 0, fmt.Errorf("%q is too large a number of frames", s)
	case err != nil:
		return 0, fmt.Errorf("%q is not a whole number of frames", s)
	}
	return frame.Frame(v), nil
}

// framesList is a flag's list of whole numbers, with commas in between.
type framesList []frame.Frame

func (l *framesList) Type() string { return "list" }
func (l *framesList) String() string {
	return strings.Trim(strings.ReplaceAll(fmt.Sprint([]frame.Frame(*l)), " ", ","), "[]")
}
func (l *framesList) Set(s string) error {
	*l = (*l)[:0]
	for part := range strings.SplitSeq(s, ",") {
		v, err := parseFrames(part)
		if err != nil {
			return fmt.Errorf("%w: write numbers with commas in between, for example 0,2,5", err)
		}
		if len(*l) == window.MaxPresses {
			return fmt.Errorf("more than %d numbers", window.MaxPresses)
		}
		*l = append(*l, v)
	}
	return nil
}

// windowFlags are what the window verb was asked.
type windowFlags struct {
	advantage, startup, buffer, frames, presses, spacing, hold framesFlag

	offsets, holds framesList
	excludes       bool
	early          string
	json           bool
	given          func(name string) bool
}

// windowReport is what the window verb answers.
type windowReport struct {
	WindowFrames      frame.Frame   `json:"window_frames"`
	ShortByFrames     frame.Frame   `json:"short_by_frames"`
	Offsets           []frame.Frame `json:"offsets"`
	CoveredStarts     []frame.Frame `json:"covered_starts"`
	CoveredFrames     frame.Frame   `json:"covered_frames"`
	Contiguous        bool          `json:"contiguous"`
	Holes             []window.Span `json:"holes"`
	BestSpacingFrames frame.Frame   `json:"best_spacing_frames"`
	BestCoveredFrames frame.Frame   `json:"best_covered_frames"`
	Advice            string        `json:"advice"`

	origin string // how the window came about, in words
	plan   window.Plan
	rules  window.Rules
	cover  window.Cover
}

func windowCommand() *cobra.Command {
	f := windowFlags{}
	cmd := &cobra.Command{
		Use:   "window (--advantage A --startup S | --frames W) [flags]",
		Short: "Work out a link's window and what a multi-press covers of it",
		Long: `Work out how many frames wide a link is, from which starts a double, triple or
wider press covers it, where the holes are, and which spacing is best.

The window is W = advantage − startup + 1 frames, startup counting the first
active frame; a buffer extends it on its early side. A start is the frame of the
first press, counted from the window's first frame; a negative one is early. The
spacing is counted from press to press: 2 is one frame down and one frame up.
Without --spacing or --offsets the best spacing is taken, or 2 if none is good.

A press whose hold is not given is held for as long as the next press allows
(spacing − 1 frames), the last one for as long as wanted.

best_spacing_frames is the equal spacing that covers the most starts without a
hole, 0 when none covers more than one press alone.`,
		Example: `  holdgap window --advantage 10 --startup 8
  holdgap window --frames 3 --presses 3 --spacing 3
  holdgap window --frames 4 --offsets 0,2,5 --hold 4 --holds 1,1,4 --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			f.given = cmd.Flags().Changed
			r, err := f.report()
			if err != nil {
				return usageError{err}
			}
			if f.json {
				return writeJSON(cmd.OutOrStdout(), r)
			}
			_, err = io.WriteString(cmd.OutOrStdout(), r.text())
			return err
		},
	}
	f.presses = 2
	fl := cmd.Flags()
	fl.Var(&f.advantage, "advantage", "the first move's frame advantage on hit")
	fl.Var(&f.startup, "startup", "the second move's startup, counting its first active frame")
	fl.BoolVar(&f.excludes, "startup-excludes-active", false, "--startup does not count the first active frame")
	fl.Var(&f.buffer, "buffer", "the game's buffer; it extends the window on its early side")
	fl.Var(&f.frames, "frames", "the window itself, without its buffer, in place of frame data")
	fl.Var(&f.presses, "presses", "how many presses, 1 to 16")
	fl.Var(&f.spacing, "spacing", "frames from press to press, at least 2")
	fl.Var(&f.offsets, "offsets", "the presses' frames from the first, for example 0,2,5, in place of --spacing")
	addRuleFlags(fl, &f.early, &f.hold)
	fl.Var(&f.holds, "holds", "how long each press is held in frames, for example 1,1,4")
	fl.BoolVar(&f.json, "json", false, "write the answer as JSON")
	return cmd
}

// addRuleFlags adds the flags of the rules.
func addRuleFlags(fl *pflag.FlagSet, early *string, hold *framesFlag) {
	fl.StringVar(early, "early", "ignored", "what an early press does: ignored, spoil, or spoil:E within E frames before the window")
	fl.Var(hold, "hold", "frames that the press that counts must stay down")
}

// parseRules reads the flags of the rules.
func parseRules(early string, hold framesFlag) (window.Rules, error) {
	r, err := window.ParseEarly(early)
	if err != nil {
		return r, flagError(err)
	}
	r.Hold = frame.Frame(hold)
	return r, flagError(r.Validate())
}

// flagError names the flag instead of the field.
func flagError(err error) error {
	var fe *window.FieldError
	if errors.As(err, &fe) {
		return fmt.Errorf("--%s: %s", fe.Field, fe.Reason)
	}
	return err
}

func writeJSON(out io.Writer, v any) error {
	enc := json.NewEncoder(out)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// report works the answer out; every error is about a flag.
func (f *windowFlags) report() (*windowReport, error) {
	r := &windowReport{}
	rules, err := parseRules(f.early, f.hold)
	if err != nil {
		return nil, err
	}
	r.rules = rules
	if err := f.link(r); err != nil {
		return nil, err
	}
	if err := f.planned(r); err != nil {
		return nil, err
	}
	w := r.WindowFrames
	r.cover = r.plan.Cover(w, rules)
	best := window.BestSpacing(w, rules, len(r.plan.Offsets), r.plan.Holds)
	r.Offsets = r.plan.Offsets
	r.CoveredStarts = r.cover.AppendStarts([]frame.Frame{})
	r.CoveredFrames = r.cover.Size()
	r.Contiguous = r.cover.Contiguous()
	r.Holes = r.cover.AppendHoles([]window.Span{})
	r.BestSpacingFrames, r.BestCoveredFrames = best.Spacing, best.Covered
	if r.ShortByFrames > 0 {
		w = 1 - r.ShortByFrames
	}
	r.Advice = window.Advise(w, rules, r.plan)
	return r, nil
}

// link fills in the window.
func (f *windowFlags) link(r *windowReport) error {
	data := f.given("advantage") || f.given("startup") || f.given("startup-excludes-active")
	switch {
	case f.given("frames") && data:
		return errors.New("--frames is the window itself: give either it or --advantage and --startup")
	case f.given("frames"):
		w, b := frame.Frame(f.frames), frame.Frame(f.buffer)
		// A window of W frames is that of a startup of 1 and an advantage of W.
		if err := window.ValidateFrames(w); err != nil {
			return flagError(err)
		}
		if err := (window.Link{Startup: 1, Buffer: b}).Validate(); err != nil {
			return flagError(err)
		}
		if w <= 0 {
			r.ShortByFrames = 1 - w
			return nil
		}
		r.WindowFrames = w + b
		r.origin = fmt.Sprintf("as given%s", bufferText(b))
		return flagError(window.ValidateFrames(r.WindowFrames))
	case !f.given("advantage") || !f.given("startup"):
		return errors.New("--advantage and --startup are needed to work out the window, or --frames to give it")
	}
	l := window.Link{Advantage: frame.Frame(f.advantage), Startup: frame.Frame(f.startup), Buffer: frame.Frame(f.buffer), ExcludesActive: f.excludes}
	if err := l.Validate(); err != nil {
		return flagError(err)
	}
	r.WindowFrames, r.ShortByFrames = l.Window()
	counting := ""
	if f.excludes {
		counting = " without its first active frame"
	}
	r.origin = fmt.Sprintf("advantage %+d into a startup of %d%s%s", l.Advantage, l.Startup, counting, bufferText(l.Buffer))
	return nil
}

func bufferText(b frame.Frame) string {
	if b == 0 {
		return ""
	}
	return fmt.Sprintf(", with a buffer of %d", b)
}

// planned fills in the multi-press.
func (f *windowFlags) planned(r *windowReport) error {
	n := int(f.presses)
	switch {
	case n < 1 || n > window.MaxPresses:
		return fmt.Errorf("--presses: %d is outside 1 to %d", n, window.MaxPresses)
	case f.given("spacing") && f.given("offsets"):
		return errors.New("--spacing and --offsets say the same thing: give one of them")
	case f.given("offsets") && f.given("presses") && n != len(f.offsets):
		return fmt.Errorf("--presses: %d does not agree with the %d presses of --offsets", n, len(f.offsets))
	case f.given("spacing") && frame.Frame(f.spacing) < window.MinSpacing:
		return fmt.Errorf("--spacing: %d is below %d: a press needs one frame down and one frame up before the next", f.spacing, window.MinSpacing)
	case f.given("spacing") && frame.Frame(f.spacing) > window.MaxSpacing:
		return fmt.Errorf("--spacing: %d is above %d", f.spacing, window.MaxSpacing)
	}
	if f.given("offsets") {
		n = len(f.offsets)
	}
	least := window.MinSpacing
	for i, h := range f.holds {
		if h == 0 {
			return fmt.Errorf("--holds: 0 frames for press %d: a press that the game reads is down for at least one", i+1)
		}
		if i < n-1 {
			least = max(least, h+1)
		}
	}
	p := window.Plan{Offsets: f.offsets}
	if !f.given("offsets") {
		d := frame.Frame(f.spacing)
		if !f.given("spacing") {
			if d = window.BestSpacing(r.WindowFrames, r.rules, n, f.holds).Spacing; d == 0 {
				d = min(least, window.MaxSpacing)
			}
		}
		p = window.Equal(n, d)
	}
	p.Holds = f.holds
	r.plan = p
	return flagError(p.Validate())
}

// text returns the answer as text with a drawing.
func (r *windowReport) text() string {
	var b strings.Builder
	if r.ShortByFrames > 0 {
		if r.origin != "" {
			fmt.Fprintf(&b, "Window    none: %s\n", r.origin)
		}
		fmt.Fprintln(&b, r.Advice)
		return b.String()
	}
	fmt.Fprintf(&b, "Window    %s: %s\n", window.Frames(r.WindowFrames), r.origin)
	fmt.Fprintf(&b, "Presses   %s, %s\n\n", pressText(r.plan), r.rules)
	drawCover(&b, r)
	switch {
	case r.CoveredFrames == 0:
		b.WriteString("Covered   nothing\n")
	default:
		fmt.Fprintf(&b, "Covered   %s: %s\n", window.Starts(r.CoveredFrames), runText(&r.cover))
	}
	if len(r.Holes) > 0 {
		var holes []string
		for _, h := range r.Holes {
			holes = append(holes, h.String())
		}
		fmt.Fprintf(&b, "Holes     %s\n", strings.Join(holes, ", "))
	}
	fmt.Fprintf(&b, "\n%s\n", wrap(r.Advice, 78))
	return b.String()
}

func runText(c *window.Cover) string {
	var runs []string
	for i := range c.Runs() {
		runs = append(runs, c.Run(i).String())
	}
	return strings.Join(runs, ", ")
}

func pressText(p window.Plan) string {
	if len(p.Offsets) == 1 {
		return "one"
	}
	var at, between []string
	for i, o := range p.Offsets {
		at = append(at, strconv.FormatInt(int64(o), 10))
		if i > 0 {
			s := strconv.FormatInt(int64(o-p.Offsets[i-1]-1), 10)
			if len(between) == 0 || between[len(between)-1] != s {
				between = append(between, s)
			}
		}
	}
	word := " frames"
	if len(between) == 1 && between[0] == "1" {
		word = " frame"
	}
	return fmt.Sprintf("%d at %s (%s%s in between)", len(at), strings.Join(at, ", "), strings.Join(between, ", "), word)
}

// wrap breaks text at spaces so that no line is longer than width, if it can.
func wrap(text string, width int) string {
	var b strings.Builder
	line := 0
	for i, word := range strings.Fields(text) {
		n := len([]rune(word))
		if i > 0 {
			if line+1+n > width {
				b.WriteByte('\n')
				line = 0
			} else {
				b.WriteByte(' ')
				line++
			}
		}
		b.WriteString(word)
		line += n
	}
	return b.String()
}
