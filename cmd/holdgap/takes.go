package main

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"holdgap/capture/take"
	"holdgap/overlay/frame"
	"holdgap/overlay/review"
	"holdgap/web/takes"
)

// takesFlags are what every verb about takes can be told.
type takesFlags struct {
	folder string
	part   int
	try    takes.Try
}

func takesCommand() *cobra.Command {
	var f takesFlags
	cmd := &cobra.Command{
		Use:   "takes",
		Short: "List, look into, export, import, repair, trim and forget takes",
		Long: `A take is one recorded session: every edge of the bound buttons, with the settings in
force, marks and devices. holdgap live --record FILE records one, and so does the desk.

A TAKE is a file, or the name of a take in the folder (see holdgap takes list).
Nothing here ever changes a take's edges: repair and trim write a new file.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.PersistentFlags().StringVar(&f.folder, "folder", "", "the `folder` of takes (default: the user's data folder)")
	cmd.AddCommand(takesListCommand(&f), takesInfoCommand(&f), takesExportCommand(&f), takesImportCommand(&f),
		takesRepairCommand(&f), takesTrimCommand(&f), takesForgetCommand(&f))
	return cmd
}

// library returns the folder of takes.
func (f *takesFlags) library() (takes.Folder, error) {
	if f.folder != "" {
		return takes.Folder{Dir: f.folder}, nil
	}
	d, err := takes.DefaultFolder()
	return takes.Folder{Dir: d}, err
}

// path finds a take by what was written: a file, or a name in the folder.
func (f *takesFlags) path(arg string) (string, error) {
	if takes.Exists(arg) {
		return arg, nil
	}
	lib, err := f.library()
	if err != nil {
		return "", err
	}
	p, err := lib.Path(strings.TrimSuffix(arg, takes.Ext))
	if err == nil && takes.Exists(p) {
		return p, nil
	}
	return "", fmt.Errorf("take %q: there is no such file, and none of that name in %q: holdgap takes list shows what there is", arg, lib.Dir)
}

// tryFlags adds what a take can be judged by instead of its own settings.
func tryFlags(cmd *cobra.Command, f *takesFlags) {
	fl := cmd.Flags()
	fl.StringVar(&f.try.Rate, "rate", "", "judge by another rate: `frames` a second, 60, 60000/1001, 59.637405, …")
	fl.StringVar(&f.try.Read, "read", "", "judge by another read `rule`: sampled or latched")
	fl.StringVar(&f.try.Phase, "phase", "", "judge by another phase: `ms`, or unknown")
	fl.StringVar(&f.try.Window, "window", "", "judge by another window, in `frames`; 0 judges nothing")
	fl.StringVar(&f.try.Early, "early", "", "another `rule` for early presses: ignored, spoil or spoil:E")
	fl.StringVar(&f.try.Hold, "hold", "", "`frames` for which the counting press must be held")
	fl.StringVar(&f.try.Target, "target", "", "another target of the take's profile, by `name`, or none")
	fl.StringVar(&f.try.Button, "button", "", "another wanted button, by `label`, or any")
	fl.StringVar(&f.try.Starter, "starter", "", "another starter, by `label`, or none")
	fl.StringVar(&f.try.Opening, "opening", "", "`frames` from the starter's press to the window's first frame")
	fl.IntVar(&f.part, "settings", 1, "which of the take's settings to judge by, where they changed: their `number`")
}

// judge opens a take and judges it as asked for. An error of what is tried is one
// of the call.
func (f *takesFlags) judge(ctx context.Context, path string, p *progress) (*takes.Judged, error) {
	p.what = "reading " + filepath.Base(path)
	file, err := takes.Open(ctx, path, p.step)
	if err != nil {
		return nil, err
	}
	for _, t := range file.Troubles {
		fmt.Fprintf(p.out, "holdgap: take %q: %s\n", filepath.Base(path), t)
	}
	j, err := file.Judging(f.part-1, f.try)
	if err != nil {
		return nil, usageError{err}
	}
	p.what = "judging " + filepath.Base(path)
	out, err := file.Judge(ctx, j, p.step)
	p.end()
	return out, err
}

func oneTake(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) != 1 {
			return usageError{fmt.Errorf("takes %s takes one take, but got %q", what, args)}
		}
		return nil
	}
}

func takesListCommand(f *takesFlags) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use: "list", Short: "List the takes in the folder, the newest first", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			lib, err := f.library()
			if err != nil {
				return err
			}
			items, err := lib.List()
			if err != nil {
				return err
			}
			if asJSON {
				return writeJSON(cmd.OutOrStdout(), listJSON(items))
			}
			return printList(cmd.OutOrStdout(), lib.Dir, items)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "write the list as JSON")
	return cmd
}

type listedTake struct {
	Name    string  `json:"name"`
	Path    string  `json:"path"`
	Start   string  `json:"start"`
	Seconds float64 `json:"seconds"`
	Edges   *int64  `json:"edges"` // null if only reading all of it can tell
	Bytes   int64   `json:"bytes"`
	Closed  bool    `json:"closed"`
	Trouble string  `json:"trouble,omitempty"`
}

func listJSON(items []takes.Item) []listedTake {
	out := []listedTake{}
	for _, i := range items {
		l := listedTake{Name: i.Name, Path: i.Path, Start: i.Start.Format(time.RFC3339), Seconds: i.Seconds,
			Bytes: i.Bytes, Closed: i.Closed, Trouble: i.Trouble}
		if i.Edges >= 0 {
			l.Edges = &i.Edges
		}
		out = append(out, l)
	}
	return out
}

func printList(out io.Writer, dir string, items []takes.Item) error {
	if len(items) == 0 {
		_, err := fmt.Fprintf(out, "No take in %s. Record one from the desk, or with holdgap live --record FILE.\n", dir)
		return err
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "take\tdate\tlength\tedges\tsize")
	for _, i := range items {
		if i.Trouble != "" {
			fmt.Fprintf(w, "%s\t\t\t\t%s\n", printable(i.Name), i.Trouble)
			continue
		}
		edges := "?"
		if i.Edges >= 0 {
			edges = fmt.Sprint(i.Edges)
		}
		note := ""
		if !i.Closed {
			note = "  (cut off, or still recording)"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s%s\n", printable(i.Name), i.Start.Format("2006-01-02 15:04"), clock(i.Seconds), edges, size(i.Bytes), note)
	}
	return w.Flush()
}

func takesInfoCommand(f *takesFlags) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use: "info TAKE", Short: "Say what a take holds: presses, multi-presses, outcomes with their rates",
		Long: `Reads the whole take and says what it holds, judged by the settings it was recorded
under, or by others given here; the take stays as it is.`,
		Args: oneTake("info"),
		RunE: func(cmd *cobra.Command, args []string) error {
			path, err := f.path(args[0])
			if err != nil {
				return err
			}
			j, err := f.judge(cmd.Context(), path, newProgress(cmd.ErrOrStderr()))
			if err != nil {
				return err
			}
			if asJSON {
				return writeJSON(cmd.OutOrStdout(), infoOf(j))
			}
			return printInfo(cmd.OutOrStdout(), j)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "write it as JSON")
	tryFlags(cmd, f)
	return cmd
}

// takeInfo is a take as takes info --json writes it.
type takeInfo struct {
	Name     string         `json:"name"`
	Path     string         `json:"path"`
	ID       string         `json:"id"`
	Start    string         `json:"start,omitempty"`
	Edges    int64          `json:"edges"`
	Seconds  float64        `json:"seconds"`
	Profile  string         `json:"profile"`
	Settings int            `json:"settings"` // how many sets of them the take has
	Rate     string         `json:"rate"`
	FrameMS  float64        `json:"frame_ms"`
	Read     frame.ReadRule `json:"read"`
	Phase    *float64       `json:"phase_ms"` // null if unknown
	Window   frame.Frame    `json:"window"`
	Target   string         `json:"target"`

	Presses map[string]int64 `json:"presses"` // by label, only buttons that were pressed
	Unseen  map[string]int64 `json:"unseen"`
	Merged  map[string]int64 `json:"merged"`
	Bounce  map[string]int64 `json:"bounce"`
	Lengths map[string]lens  `json:"lengths"`

	Multis   []review.Pattern `json:"multi_presses"`
	Verdicts []review.Rate    `json:"verdicts"`
	Outcomes []review.Rate    `json:"outcomes"`
	Nothing  int64            `json:"attempts_without_press"`
	Open     int64            `json:"attempts_undecided"`
	BestRun  int              `json:"best_run"`

	Marks   []markInfo `json:"marks"`
	Devices []string   `json:"devices"`
	Whole   bool       `json:"whole"`
	Closed  bool       `json:"closed"`
	Report  string     `json:"report"`
	Skipped int64      `json:"edges_of_other_layouts,omitempty"`
}

type markInfo struct {
	Seconds float64 `json:"seconds"`
	Text    string  `json:"text"`
}

// lens are the lengths of a button.
type lens struct {
	Hold    length `json:"hold"`
	Gap     length `json:"gap"`
	Spacing length `json:"spacing"`
}

// length is a distribution in short; in ms, lengths of a second and more are left out.
type length struct {
	N        int64            `json:"n"`
	Median   int64            `json:"median_frames"` // −1 for none
	Frames   map[string]int64 `json:"frames"`        // how many of each length; "more" for the longest
	MeanMS   float64          `json:"mean_ms"`
	SDMS     float64          `json:"sd_ms"`
	MedianMS float64          `json:"median_ms"`
}

func lengthOf(d review.Dist) length {
	l := length{N: d.N, Median: d.MedianFrames, Frames: map[string]int64{}, MeanMS: d.MeanMS, SDMS: d.SDMS, MedianMS: d.MedianMS}
	for k, n := range d.Frames {
		if n > 0 {
			l.Frames[fmt.Sprint(k)] = int64(n)
		}
	}
	if d.OverFrames > 0 {
		l.Frames["more"] = d.OverFrames
	}
	return l
}

func infoOf(j *takes.Judged) takeInfo {
	s := &j.Summary
	i := takeInfo{Name: takeName(j.Path), Path: j.Path, ID: hex.EncodeToString(j.Scan.Header.ID[:]),
		Edges: s.Edges + j.Skipped, Seconds: j.Seconds(), Profile: j.Parts[j.Part].Name, Settings: len(j.Parts),
		Rate: j.Setup.Rate.String(), FrameMS: j.Setup.Rate.FrameNS() / 1e6, Read: j.Setup.Rule,
		Window: j.Setup.Target.Window, Target: j.Setup.Target.Name,
		Presses: map[string]int64{}, Unseen: map[string]int64{}, Merged: map[string]int64{}, Bounce: map[string]int64{},
		Lengths: map[string]lens{}, Multis: s.Multis, Verdicts: s.Verdicts, Outcomes: s.Outcomes, Nothing: s.Nothing,
		Open: s.Open, BestRun: s.BestRun, Marks: []markInfo{}, Devices: []string{},
		Whole: j.Scan.Report.Whole(), Closed: j.Scan.Report.Closed, Report: j.Scan.Report.String(), Skipped: j.Skipped}
	if t := j.Start(); !t.IsZero() {
		i.Start = t.Format(time.RFC3339Nano)
	}
	if j.Setup.Phase != nil {
		ms := float64(*j.Setup.Phase) / 1e6
		i.Phase = &ms
	}
	put := func(m map[string]int64, label string, n int64) {
		if n > 0 {
			m[label] = n
		}
	}
	for _, b := range s.Buttons {
		put(i.Presses, b.Label, b.Presses)
		put(i.Unseen, b.Label, b.Unseen)
		put(i.Merged, b.Label, b.Merged)
		put(i.Bounce, b.Label, b.Bounce)
		if b.Presses > 0 {
			i.Lengths[b.Label] = lens{lengthOf(b.Hold), lengthOf(b.Gap), lengthOf(b.Spacing)}
		}
	}
	for _, m := range j.Scan.Marks {
		i.Marks = append(i.Marks, markInfo{float64(m.At-j.Zero()) / 1e9, m.Text})
	}
	seen := map[string]bool{}
	for _, d := range j.Scan.Devices {
		if !seen[d.Device.Name] {
			seen[d.Device.Name] = true
			i.Devices = append(i.Devices, d.Device.Name)
		}
	}
	return i
}

func printInfo(out io.Writer, j *takes.Judged) error {
	i := infoOf(j)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "take\t%s\n", printable(i.Name))
	if t := j.Start(); !t.IsZero() {
		fmt.Fprintf(w, "recorded\t%s, %s long\n", t.Format("2006-01-02 15:04:05"), clock(i.Seconds))
	}
	fmt.Fprintf(w, "edges\t%d\n", i.Edges)
	target := i.Target
	if target == "" {
		target = "window"
	}
	fmt.Fprintf(w, "judged by\t%s: %s frames a second, %s, %s of %d frames\n", printable(i.Profile), i.Rate, i.Read, printable(target), i.Window)
	if len(j.Parts) > 1 {
		fmt.Fprintf(w, "\tthe settings changed %d times; judged by number %d (--settings)\n", len(j.Parts)-1, j.Part+1)
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, "button\tpresses\tunseen\tmerged\thold\tgap\tin ms: hold")
	for _, b := range j.Summary.Buttons {
		if b.Presses+b.Unseen == 0 {
			continue
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t%s\t%s\t%.1f ± %.1f\n", printable(b.Label), b.Presses, b.Unseen, b.Merged,
			median(b.Hold), median(b.Gap), b.Hold.MeanMS, b.Hold.SDMS)
	}
	if len(i.Multis) > 0 {
		fmt.Fprintln(w, "\nmulti-press\tspacings\tverdict\tcovered\ttimes")
		for n, m := range i.Multis {
			if n == 12 {
				fmt.Fprintf(w, "… and %d more kinds: --json lists them all\n", len(i.Multis)-n)
				break
			}
			fmt.Fprintf(w, "%s ×%d\t%s\t%s\t%d\t%d\n", printable(m.Label), m.Presses, joined(m.Spacings), orDash(m.Verdict), m.Covered, m.Count)
		}
	}
	printRates(w, "outcome", i.Outcomes)
	printRates(w, "multi-presses judged", i.Verdicts)
	if len(i.Marks) > 0 {
		fmt.Fprintln(w, "\nmark")
		for _, m := range i.Marks {
			fmt.Fprintf(w, "%s\t%s\n", clock(m.Seconds), printable(m.Text))
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(out, "\n%s\n", i.Report)
	return err
}

func printRates(w io.Writer, title string, rates []review.Rate) {
	if len(rates) == 0 || rates[0].Of == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s\tof %d\trate\t95 %% interval\n", title, rates[0].Of)
	for _, r := range rates {
		fmt.Fprintf(w, "%s\t%d\t%.1f %%\t%.1f … %.1f %%\n", r.Kind, r.Count, 100*r.Rate, 100*r.Low, 100*r.High)
	}
}

func takesForgetCommand(f *takesFlags) *cobra.Command {
	var yes bool
	cmd := &cobra.Command{
		Use: "forget TAKE… --yes", Short: "Delete takes for good",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageError{errors.New("takes forget: name at least one take")}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			var paths []string
			for _, a := range args {
				p, err := f.path(a)
				if err != nil {
					return err
				}
				// Only takes are deleted, so that a slip of the shell deletes nothing else.
				if _, err := take.Look(p); errors.Is(err, take.ErrForeign) {
					return fmt.Errorf("forgetting %q: %w: delete it by hand if you mean it", a, err)
				}
				paths = append(paths, p)
			}
			for _, p := range paths {
				if !yes {
					fmt.Fprintf(cmd.OutOrStdout(), "would delete %s\n", p)
					continue
				}
				if err := os.Remove(p); err != nil {
					return fmt.Errorf("forgetting a take: %w", err)
				}
				fmt.Fprintf(cmd.OutOrStdout(), "deleted %s\n", p)
			}
			if !yes {
				return usageError{errors.New("nothing was deleted: add --yes to delete for good")}
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&yes, "yes", false, "delete without asking again")
	return cmd
}

func takeName(path string) string { return strings.TrimSuffix(filepath.Base(path), takes.Ext) }

// clock writes seconds as h:mm:ss.s.
func clock(s float64) string {
	d := time.Duration(s * 1e9).Round(100 * time.Millisecond)
	h, m := int(d.Hours()), int(d.Minutes())%60
	sec := d.Seconds() - float64(h*3600+m*60)
	if h > 0 {
		return fmt.Sprintf("%d:%02d:%04.1f", h, m, sec)
	}
	return fmt.Sprintf("%d:%04.1f", m, sec)
}

func size(n int64) string {
	switch {
	case n < 10_000:
		return fmt.Sprintf("%d B", n)
	case n < 10_000_000:
		return fmt.Sprintf("%.0f kB", float64(n)/1e3)
	}
	return fmt.Sprintf("%.1f MB", float64(n)/1e6)
}

func median(d review.Dist) string {
	if d.MedianFrames < 0 {
		return "–"
	}
	return fmt.Sprint(d.MedianFrames)
}

func orDash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

func joined(spacings []frame.Frame) string {
	var b strings.Builder
	for i, s := range spacings {
		if i > 0 {
			b.WriteString(" ")
		}
		fmt.Fprint(&b, int64(s))
	}
	return orDash(b.String())
}
