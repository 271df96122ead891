package main

import (
	"errors"
	"fmt"
	"io/fs"

	"holdgap/themes"

	"github.com/spf13/cobra"
)

// themeCommand is the verb theme: list, show and check what the strip wears.
func themeCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "theme",
		Short: "List, show and check themes of the strip",
		Long: `A theme is a TOML file that says what the strip looks like: colours, sizes, shapes,
font, labels and the times of a flash. To make your own, print a built-in one into
a file, change it, check it, and put it into the themes folder of your settings.`,
		Example: `  holdgap theme show lantern > mine.toml
  holdgap theme check mine.toml`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usageError{fmt.Errorf("unknown verb %q after theme: there are list, show and check", args[0])}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(
		&cobra.Command{
			Use:   "list",
			Short: "List the built-in themes",
			Args:  noArgs,
			RunE:  themeList,
		},
		&cobra.Command{
			Use:   "show NAME",
			Short: "Print the file of a built-in theme",
			Args:  someFiles("the name of a built-in theme", 1),
			RunE:  themeShow,
		},
		&cobra.Command{
			Use:   "check FILE...",
			Short: "Check theme files",
			Long: `check reads theme files and tells every line that is wrong, and every pair of colours
with too little contrast to be read (WCAG 2.2: 4.5 for counts and words, 3 for
marks). Exit status 1 means that something is wrong.`,
			Args: someFiles("a theme file", 1<<16),
			RunE: themeCheck,
		},
	)
	return cmd
}

// someFiles wants from one to most arguments, each being what.
func someFiles(what string, most int) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) == 0 {
			return usageError{fmt.Errorf("nothing to read: give %s", what)}
		}
		if len(args) > most {
			return usageError{fmt.Errorf("one argument too many: %q", args[most])}
		}
		return nil
	}
}

func themeList(cmd *cobra.Command, _ []string) error {
	for _, name := range themes.Names() {
		t, err := themes.Load(themes.Builtin(), name)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(cmd.OutOrStdout(), "%-10s %s\n", name, t.About); err != nil {
			return err
		}
	}
	return nil
}

func themeShow(cmd *cobra.Command, args []string) error {
	name := args[0]
	if !themes.ValidName(name) {
		return usageError{fmt.Errorf("a theme cannot be named %q: holdgap theme list names the built-in ones", name)}
	}
	b, err := fs.ReadFile(themes.Builtin(), name+".toml")
	if errors.Is(err, fs.ErrNotExist) {
		return usageError{fmt.Errorf("no built-in theme is named %q: holdgap theme list names them", name)}
	}
	if err != nil {
		return err
	}
	_, err = cmd.OutOrStdout().Write(b)
	return err
}

func themeCheck(cmd *cobra.Command, args []string) error {
	out := cmd.OutOrStdout()
	wrong := 0
	for _, file := range args {
		t, _, err := themes.ReadFile(file)
		if err != nil {
			for _, p := range themes.Problems(err) {
				fmt.Fprintln(out, p.Error())
				wrong++
			}
			continue
		}
		short := t.Shortfalls()
		for _, s := range short {
			fmt.Fprintf(out, "%s: %s\n", file, s)
		}
		wrong += len(short)
		if len(short) == 0 {
			fmt.Fprintf(out, "%s: good: %d colour pairs checked\n", file, len(t.Pairs()))
		}
	}
	if wrong == 1 {
		return errors.New("one thing is wrong in the theme")
	}
	if wrong > 0 {
		return fmt.Errorf("%d things are wrong in the themes", wrong)
	}
	return nil
}
