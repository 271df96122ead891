package main

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"holdgap/overlay/frame"
	"holdgap/overlay/odds"
	"holdgap/overlay/window"
)

// maxMS is the latest time that a flag takes: an hour, in milliseconds.
const maxMS = 3_600_000

// parseMS reads decimal milliseconds exactly, as nanoseconds.
func parseMS(s string) (int64, error) {
	text := strings.TrimSpace(s)
	digits, negative := strings.CutPrefix(text, "-")
	whole, part, dotted := strings.Cut(digits, ".")
	for _, c := range whole + part {
		if c < '0' || c > '9' {
			return 0, fmt.Errorf("%q is not a number of milliseconds", s)
		}
	}
	if whole == "" || dotted && part == "" {
		return 0, fmt.Errorf("%q is not a number of milliseconds: write for example 16.7", s)
	}
	if len(part) > 6 {
		return 0, fmt.Errorf("%q is finer than a nanosecond: six decimals are the most", s)
	}
	v, err := strconv.ParseInt(whole+part+strings.Repeat("0", 6-len(part)), 10, 64)
	if err != nil || v > maxMS*1_000_000 {
		return 0, fmt.Errorf("%q is above an hour of %d ms", s, maxMS)
	}
	if negative {
		v = -v
	}
	return v, nil
}

// parsePress reads down:up in milliseconds.
func parsePress(s string) (odds.Press, error) {
	a, b, ok := strings.Cut(s, ":")
	if !ok {
		return odds.Press{}, fmt.Errorf("%q is not down:up in milliseconds, for example 0:20", s)
	}
	var p odds.Press
	var err error
	if p.Down, err = parseMS(a); err != nil {
		return p, err
	}
	if p.Up, err = parseMS(b); err != nil {
		return p, err
	}
	if p.Down < 0 || p.Up < 0 {
		return p, fmt.Errorf("%q is before 0: count from the first press", s)
	}
	if p.Up <= p.Down {
		return p, fmt.Errorf("%q goes up no later than it goes down", s)
	}
	return p, nil
}

// parsePresses reads the values of --press, each one press or several with commas
// in between, in order of time.
func parsePresses(values []string) ([]odds.Press, error) {
	var list []odds.Press
	for _, v := range values {
		for s := range strings.SplitSeq(v, ",") {
			p, err := parsePress(s)
			if err != nil {
				return nil, err
			}
			if len(list) == odds.MaxPresses {
				return nil, fmt.Errorf("more than %d presses", odds.MaxPresses)
			}
			list = append(list, p)
		}
	}
	return list, odds.ValidatePresses(list)
}

// formatPress returns text that parsePress reads back.
func formatPress(p odds.Press) string {
	return odds.Milliseconds(p.Down) + ":" + odds.Milliseconds(p.Up)
}

// oddsFlags are what the odds verb was asked.
type oddsFlags struct {
	press                     []string
	rate, read, report, phase string
	window, hold, opens       framesFlag
	early, anchor             string
	json                      bool
	given                     func(name string) bool
	model                     odds.Model
	presses                   []odds.Press
	rules                     window.Rules
	starter                   odds.Press
	haveWindow, anchored      bool
}

// oddsReport is what the odds verb answers.
type oddsReport struct {
	Patterns           []odds.Pattern `json:"patterns"`
	CoveredProbability *float64       `json:"covered_probability,omitempty"`
	HitProbability     *float64       `json:"hit_probability,omitempty"`
	Outcomes           []outcomeJSON  `json:"outcomes,omitempty"`
	Note               string         `json:"note,omitempty"`

	covers []odds.CoverOdds
	words  []string // of the outcomes
}

type outcomeJSON struct {
	Outcome     window.Kind `json:"outcome"`
	Press       int         `json:"press,omitempty"`
	Early       frame.Frame `json:"early_by_frames,omitempty"`
	Late        frame.Frame `json:"late_by_frames,omitempty"`
	Short       frame.Frame `json:"short_by_frames,omitempty"`
	Probability float64     `json:"probability"`
}

func oddsCommand() *cobra.Command {
	f := oddsFlags{}
	cmd := &cobra.Command{
		Use:   "odds --press DOWN:UP [--press DOWN:UP ...] [flags]",
		Short: "Work out how presses in milliseconds read in frames when the game's phase is unknown",
		Long: `Work out every way in which presses of one button, given in milliseconds, may
read in the game's frames, each with its exact probability.

The game looks at its controllers once a frame, and nobody outside it knows when:
the phase is taken as uniform over a frame. holds and gaps are in frames; unseen
counts the presses that no frame saw down; merged counts those that were read as
going on with an earlier one, since no frame saw the button up in between. A
number is sure from a probability of 90 % on.

A device that reports every so many ms (--report-ms) shows an edge up to so much
after it happened. Each edge then happened anywhere in the interval before its
stamp, all of it equally likely, but after the button's edge before.

With --window, covered_probability is the probability that the reading covers the
window: it covers some start, it has no hole, and, when more than one press was
given, it covers more starts than one press alone. Presses that merge into one
therefore do not cover it.

With --anchor and --opens the window opens so many frames after the press of a
starter on another button, which is read on the same unknown frames, and outcomes
says how the attempt comes out: hit on a press, early, late, straddled, unheld
(let go too soon), or none (no press, or no starter, was read).`,
		Example: `  holdgap odds --press 0:20 --press 35:60
  holdgap odds --press 0:20,35:60 --rate 60000/1001 --report-ms 8 --window 3
  holdgap odds --press 95:120 --window 2 --anchor 0:30 --opens 6 --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			f.given = cmd.Flags().Changed
			if err := f.parse(); err != nil {
				return usageError{err}
			}
			r, err := f.answer()
			if err != nil {
				return err
			}
			if f.json {
				return writeJSON(cmd.OutOrStdout(), r)
			}
			_, err = io.WriteString(cmd.OutOrStdout(), f.text(r))
			return err
		},
	}
	fl := cmd.Flags()
	fl.StringArrayVar(&f.press, "press", nil, "a press as `DOWN:UP` in milliseconds; give it once for every press")
	fl.StringVar(&f.rate, "rate", "60", "frames a second: 60, 60000/1001, 59.637405")
	fl.StringVar(&f.read, "read", "sampled", "how the game reads: sampled or latched")
	fl.StringVar(&f.report, "report-ms", "0", "the device's report interval in `ms`, where the game does not read the same reports")
	fl.StringVar(&f.phase, "phase", "", "the time of one of the game's polls in `ms`, if it is known")
	fl.Var(&f.window, "window", "a window, to hold the readings against")
	addRuleFlags(fl, &f.early, &f.hold)
	fl.StringVar(&f.anchor, "anchor", "", "the starter's press as `DOWN:UP` in milliseconds")
	fl.Var(&f.opens, "opens", "the window opens so many frames after the starter's press")
	fl.BoolVar(&f.json, "json", false, "write the answer as JSON")
	return cmd
}

// parse reads the flags; every error names its flag.
func (f *oddsFlags) parse() error {
	if len(f.press) == 0 {
		return errors.New("--press is missing: give each press as down:up in milliseconds, for example --press 0:20 --press 35:60")
	}
	presses, err := parsePresses(f.press)
	if err != nil {
		return fmt.Errorf("--press: %w", err)
	}
	f.presses = presses
	rate, err := frame.ParseRate(f.rate)
	if err != nil {
		return fmt.Errorf("--rate: %w", err)
	}
	if f.model.Rule, err = frame.ParseReadRule(f.read); err != nil {
		return fmt.Errorf("--read: %w", err)
	}
	if f.model.Report, err = parseMS(f.report); err != nil {
		return fmt.Errorf("--report-ms: %w", err)
	}
	phase := int64(0)
	if f.model.Fixed = f.given("phase"); f.model.Fixed {
		if phase, err = parseMS(f.phase); err != nil {
			return fmt.Errorf("--phase: %w", err)
		}
	}
	f.model.Clock = frame.NewClock(rate, phase)
	if err := f.model.Validate(); err != nil {
		return fmt.Errorf("--report-ms: %w", err)
	}
	return f.parseTarget()
}

// parseTarget reads the flags about the window.
func (f *oddsFlags) parseTarget() (err error) {
	f.haveWindow = f.given("window")
	for _, name := range []string{"early", "hold", "anchor", "opens"} {
		if f.given(name) && !f.haveWindow {
			return fmt.Errorf("--%s says something about a window: give --window too", name)
		}
	}
	if err := window.ValidateFrames(frame.Frame(f.window)); err != nil {
		var fe *window.FieldError
		errors.As(err, &fe)
		return fmt.Errorf("--window: %s", fe.Reason)
	}
	if f.rules, err = parseRules(f.early, f.hold); err != nil {
		return err
	}
	f.anchored = f.given("anchor")
	switch {
	case f.anchored != f.given("opens"):
		return errors.New("--anchor and --opens belong together: the starter's press, and how many frames after it the window opens")
	case !f.anchored:
		return nil
	case f.opens < 0 || frame.Frame(f.opens) > window.MaxFrames:
		return fmt.Errorf("--opens: %d frames is outside 0 to %d", f.opens, window.MaxFrames)
	}
	if f.starter, err = parsePress(f.anchor); err != nil {
		return fmt.Errorf("--anchor: %w", err)
	}
	f.starter.Button = 1
	switch {
	case f.starter.Down > f.presses[0].Down:
		return fmt.Errorf("--anchor: the starter goes down at %s ms, after the first press at %s ms", odds.Milliseconds(f.starter.Down), odds.Milliseconds(f.presses[0].Down))
	case len(f.presses) == odds.MaxPresses:
		return fmt.Errorf("--anchor: with a starter there can be %d presses", odds.MaxPresses-1)
	}
	return nil
}

// answer works the odds out.
func (f *oddsFlags) answer() (*oddsReport, error) {
	r := &oddsReport{}
	var err error
	if r.Patterns, err = f.model.Patterns(f.presses); err != nil {
		return nil, f.failure(err)
	}
	w := frame.Frame(f.window)
	if f.haveWindow {
		p, err := f.model.Covered(f.presses, w, f.rules)
		if err != nil {
			return nil, f.failure(err)
		}
		r.CoveredProbability = &p
		if r.covers, err = f.model.Covers(f.presses, w, f.rules); err != nil {
			return nil, f.failure(err)
		}
	}
	if f.anchored {
		list, err := f.model.Outcomes(nil, f.starter, frame.Frame(f.opens), f.presses, w, f.rules)
		if err != nil {
			return nil, f.failure(err)
		}
		p := odds.HitProbability(list)
		r.HitProbability = &p
		for _, o := range list {
			r.Outcomes = append(r.Outcomes, outcomeJSON{o.Kind, o.Press, o.Early, o.Late, o.Short, o.Probability})
			r.words = append(r.words, o.String())
		}
	}
	if f.model.Fixed {
		r.Note = "The phase is taken as fixed. Two clocks that differ by a tenth of a hertz drift through a whole frame in ten seconds."
	}
	return r, nil
}

// failure makes an error of the odds one about the flag that can mend it.
func (f *oddsFlags) failure(err error) error {
	if errors.Is(err, odds.ErrTooMany) {
		return usageError{fmt.Errorf("--report-ms: %s ms with %s: %w", odds.Milliseconds(f.model.Report), plural(len(f.presses), "press", "presses"), err)}
	}
	return fmt.Errorf("working out the odds: %w", err)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
