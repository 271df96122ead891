// Command holdgap shows in frames what a player's hands did: when each button
// went down as the game reads it, how long it was held, how long the gap was,
// and whether pressing more than once would have covered the window.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// usageError is a mistake in the call: exit status 2.
type usageError struct{ err error }

func (e usageError) Error() string { return e.err.Error() }
func (e usageError) Unwrap() error { return e.err }

// run executes the program and returns its exit status: 0, 1 for a failure, 2
// for a call that cannot be meant.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	root := rootCommand()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return 0
	}
	fmt.Fprintf(stderr, "holdgap: %v\n", err)
	var usage usageError
	if errors.As(err, &usage) || strings.HasPrefix(err.Error(), "unknown command") {
		fmt.Fprintln(stderr, "See holdgap --help.")
		return 2
	}
	return 1
}

func rootCommand() *cobra.Command {
	live := liveCommand()
	root := &cobra.Command{
		Use:   "holdgap",
		Short: "Show in frames what a player's hands did",
		Long: `holdgap reads a controller, counts holds and gaps in the game's frames, and draws
them on a page that a streaming program shows as a browser source.

It only listens: it never grabs a device, never injects input and never touches
the game. Whether such a program may run at an event is for its organiser to say.

Without a verb it runs live; holdgap live --help lists what can be set.`,
		Args:          live.Args,
		RunE:          live.RunE,
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.Flags().AddFlagSet(live.Flags())
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	root.AddCommand(live, devicesCommand(), windowCommand(), oddsCommand(), themeCommand(), settingsCommand(), takesCommand(), reportCommand())
	return root
}

// noArgs refuses arguments by quoting the first.
func noArgs(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usageError{fmt.Errorf("unknown verb or argument %q", args[0])}
	}
	return nil
}
