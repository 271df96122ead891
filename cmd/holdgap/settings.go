package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"github.com/spf13/cobra"

	"holdgap/web/settings"
)

// settingsCommand is the verb settings: where they are, what they say, and
// whether they are right.
func settingsCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "settings",
		Short: "Tell where the settings are, what they say, and what is wrong with them",
		Long: `The settings hold profiles (a game on a controller: buttons, frame rate, targets), how
strips look, what is recorded, and the chords of buttons that set marks, pause or
start takes. The desk changes them; the file may also be edited by hand while the
program runs. Comments and keys that the program does not know stay when it writes.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usageError{fmt.Errorf("unknown verb %q after settings: there are path, show and check", args[0])}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	var showJSON, checkJSON bool
	show := &cobra.Command{
		Use:   "show [FILE] [--json]",
		Short: "Print the settings with everything that the file leaves out",
		Args:  atMostOneFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			return settingsShow(cmd.OutOrStdout(), args, showJSON)
		},
	}
	show.Flags().BoolVar(&showJSON, "json", false, "print them as JSON")
	check := &cobra.Command{
		Use:   "check [FILE] [--json]",
		Short: "Check a settings file",
		Long: `check reads a settings file, your own when none is named, and tells every line that
is wrong and why. Keys that are not known are told as well, but are not wrong. Exit
status 1 means that something is wrong.`,
		Args: atMostOneFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			return settingsCheck(cmd.OutOrStdout(), args, checkJSON)
		},
	}
	check.Flags().BoolVar(&checkJSON, "json", false, "print what was found as JSON")
	cmd.AddCommand(
		&cobra.Command{
			Use:   "path",
			Short: "Print where the settings file is, or would be",
			Args:  noArgs,
			RunE: func(cmd *cobra.Command, _ []string) error {
				path, err := settings.DefaultPath()
				if err == nil {
					_, err = fmt.Fprintln(cmd.OutOrStdout(), path)
				}
				return err
			},
		},
		show, check,
	)
	return cmd
}

func atMostOneFile(_ *cobra.Command, args []string) error {
	if len(args) > 1 {
		return usageError{fmt.Errorf("one argument too many: %q: name one settings file, or none for your own", args[1])}
	}
	return nil
}

// readSettings reads the file named, or the user's own. When that is not there
// the default settings come back, with ok false.
func readSettings(args []string) (path string, f *settings.File, ok bool, err error) {
	own := len(args) == 0
	if own {
		if path, err = settings.DefaultPath(); err != nil {
			return "", nil, false, err
		}
	} else {
		path = args[0]
	}
	f, err = settings.ReadFile(path)
	if own && errors.Is(err, fs.ErrNotExist) {
		s := settings.Default()
		return path, &settings.File{Settings: s.Clone()}, false, nil
	}
	return path, f, true, err
}

func writeIndented(out io.Writer, v any) error {
	enc := json.NewEncoder(out)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

func settingsShow(out io.Writer, args []string, asJSON bool) error {
	_, f, _, err := readSettings(args)
	if err != nil {
		return err
	}
	if asJSON {
		return writeIndented(out, f.Settings)
	}
	text, err := settings.Format("", f.Settings)
	if err != nil {
		return err
	}
	_, err = io.WriteString(out, text)
	return err
}

// settingsReport is what settings check --json prints.
type settingsReport struct {
	File     string            `json:"file"`
	Exists   bool              `json:"exists"`
	Good     bool              `json:"good"`
	Problems settings.Problems `json:"problems"`
	Unknown  settings.Problems `json:"unknown"`
}

func settingsCheck(out io.Writer, args []string, asJSON bool) error {
	path, f, exists, err := readSettings(args)
	if path == "" {
		return err
	}
	r := settingsReport{File: path, Exists: exists && !errors.Is(err, fs.ErrNotExist), Good: err == nil,
		Problems: settings.Problems{}, Unknown: settings.Problems{}}
	r.Problems = append(r.Problems, settings.ProblemsOf(err)...)
	if f != nil {
		r.Unknown = append(r.Unknown, f.Unknown...)
	}
	if asJSON {
		if err := writeIndented(out, r); err != nil {
			return err
		}
	} else {
		for _, list := range []settings.Problems{r.Problems, r.Unknown} {
			for _, p := range list {
				fmt.Fprintln(out, p.Error())
			}
		}
		switch {
		case r.Good && !r.Exists:
			fmt.Fprintf(out, "%s: not there yet: the default settings are in force\n", path)
		case r.Good:
			fmt.Fprintf(out, "%s: good: %s, %q is in force\n", path, count(len(f.Settings.Profiles), "profile"), f.Settings.Profile)
		}
	}
	if n := len(r.Problems); n > 0 {
		return fmt.Errorf("%s wrong in the settings", isWrong(n))
	}
	return nil
}

func count(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

func isWrong(n int) string {
	if n == 1 {
		return "one thing is"
	}
	return fmt.Sprintf("%d things are", n)
}
