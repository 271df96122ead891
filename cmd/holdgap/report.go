package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"holdgap/overlay/session"
	"holdgap/render/report"
	"holdgap/themes"
	"holdgap/web/takes"
)

func reportCommand() *cobra.Command {
	var f takesFlags
	var out, title string
	var force bool
	cmd := &cobra.Command{
		Use: "report TAKE… -o FILE.html", Short: "Write one page about takes: plots, tables, and how they came about",
		Long: `Writes one HTML page about takes that asks nobody for anything: numbers with their
intervals, plots, tables, the method, and what a frame clock cannot know. It prints
well. Takes are judged by the settings they were recorded under, or by others given here.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageError{errors.New("report: name at least one take")}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				return usageError{errors.New("--output is missing: name the page's file with -o")}
			}
			r := report.Report{Title: title, Made: time.Now(), Regular: font(400), Bold: font(700)}
			p := newProgress(cmd.ErrOrStderr())
			for _, a := range args {
				path, err := f.path(a)
				if err != nil {
					return err
				}
				j, err := f.judge(cmd.Context(), path, p)
				if err != nil {
					return err
				}
				r.Takes = append(r.Takes, reportOf(j, !f.try.IsZero()))
			}
			if r.Title == "" {
				r.Title = r.Takes[0].Name
				if len(r.Takes) > 1 {
					r.Title = fmt.Sprintf("%d takes", len(r.Takes))
				}
			}
			if err := writeWhole(out, force, func(w io.Writer) error { return report.Write(w, r) }); err != nil {
				return err
			}
			_, err := fmt.Fprintln(cmd.OutOrStdout(), out)
			return err
		},
	}
	fl := cmd.Flags()
	fl.StringVarP(&out, "output", "o", "", "the page's `file`")
	fl.StringVar(&title, "title", "", "the page's title")
	fl.BoolVar(&force, "force", false, "write over a file that exists")
	fl.StringVar(&f.folder, "folder", "", "the `folder` of takes (default: the user's data folder)")
	tryFlags(cmd, &f)
	return cmd
}

// font is the program's own font, so that the page looks the same everywhere;
// without it the reader's own stands in.
func font(weight int) []byte {
	b, err := fs.ReadFile(themes.Fonts(), path.Base(themes.FontFile(weight)))
	if err != nil {
		return nil
	}
	return b
}

func reportOf(j *takes.Judged, tried bool) report.Take {
	s, t := &j.Setup, &j.Setup.Target
	r := report.Take{Name: takeName(j.Path), Start: j.Start(), Seconds: j.Seconds(), Profile: j.Parts[j.Part].Name,
		Demo: j.Demo(), Rate: s.Rate, Read: s.Rule, ReportMS: float64(j.ReportNS()) / 1e6, Window: t.Window, Target: t.Name,
		Rules: t.Rules.String(), Anchored: t.Anchored, Opening: t.Opening, Tried: tried, Summary: j.Summary, Notes: slices.Clone(j.Troubles)}
	if t.Wanted != session.AnyButton {
		r.Rules = s.Layout.Buttons[t.Wanted].Label + ", " + r.Rules
	}
	if t.Anchored {
		r.Starter = s.Layout.Buttons[t.Starter].Label
	}
	if s.Phase != nil {
		ms := float64(*s.Phase) / 1e6
		r.Phase = &ms
	}
	for _, d := range j.Scan.Devices {
		if d.Attached && !slices.Contains(r.Devices, d.Device.Name) {
			r.Devices = append(r.Devices, d.Device.Name)
		}
	}
	for _, m := range j.Scan.Marks {
		r.Marks = append(r.Marks, report.Mark{Seconds: float64(m.At-j.Zero()) / 1e9, Text: m.Text})
	}
	if rep := j.Scan.Report; !rep.Whole() || rep.NotRecorded > 0 {
		r.Notes = append(r.Notes, rep.String())
	}
	return r
}
