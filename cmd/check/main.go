package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// options are what the command line says.
type options struct {
	strict bool
	list   bool
	only   []string
	fuzz   time.Duration // per fuzz target; 0 runs the seeds only
}

// errUsage marks wrong usage: exit status 2.
var errUsage = errors.New("usage")

func parse(args []string, known []string, stderr io.Writer) (options, error) {
	var o options
	var only string
	flags := flag.NewFlagSet("check", flag.ContinueOnError)
	flags.SetOutput(stderr)
	flags.Usage = func() {
		fmt.Fprintln(stderr, "usage: go run ./cmd/check [--strict] [--only NAME,…] [--fuzz DURATION] [--list]")
		flags.PrintDefaults()
	}
	flags.BoolVar(&o.strict, "strict", false, "fail if anything was left out")
	flags.BoolVar(&o.list, "list", false, "name the checks and stop")
	flags.StringVar(&only, "only", "", "run only the checks with these `names`, comma separated")
	flags.DurationVar(&o.fuzz, "fuzz", 0, "also fuzz every fuzz target for this `duration`, such as 10s")
	if err := flags.Parse(args); err != nil {
		return o, errors.Join(errUsage, err)
	}
	usage := func(format string, a ...any) (options, error) {
		fmt.Fprintf(stderr, format+"\n", a...)
		return o, errUsage
	}
	if flags.NArg() > 0 {
		return usage("check takes no argument, but got %q; to choose checks write --only NAME,…", flags.Arg(0))
	}
	if o.fuzz < 0 {
		return usage("--fuzz %q is not above 0: write for example --fuzz 10s", o.fuzz)
	}
	chosen := false // an empty --only is a mistake, not a wish for everything
	flags.Visit(func(f *flag.Flag) { chosen = chosen || f.Name == "only" })
	if !chosen {
		return o, nil
	}
	for name := range strings.SplitSeq(only, ",") {
		name = strings.TrimSpace(name)
		if !slices.Contains(known, name) {
			return usage("there is no check %q; the checks are: %s", name, strings.Join(known, ", "))
		}
		o.only = append(o.only, name)
	}
	return o, nil
}

// run is the whole program with its surroundings given; it returns the exit status.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	stages := allStages()
	o, err := parse(args, names(stages), stderr)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return 0
	case err != nil:
		return 2
	}
	if o.list {
		for _, c := range flatten(stages) {
			fmt.Fprintf(stdout, "%-10s %s\n", c.name, c.about)
		}
		return 0
	}
	e, err := newEnv(ctx, o)
	if err != nil {
		fmt.Fprintln(stderr, err)
		return 1
	}
	stages = choose(stages, o)
	p := &printer{w: stdout}
	e.setUp(ctx, needed(stages), p)
	e.tree = e.treeState(ctx)
	runner := runner{env: e, out: p, strict: o.strict}
	runner.runStages(ctx, stages)
	return runner.summary(ctx)
}
