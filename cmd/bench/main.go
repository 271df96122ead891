// Command bench measures how fast the program is, always against something bare
// that does the least that could do, in the same run and by turns with it: a
// ratio holds on other machines, a figure does not.
//
//	go run ./cmd/bench                 a table
//	go run ./cmd/bench --json          the same for programs
//	go run ./cmd/bench --only fanout --viewers 1,50,200,1000
//
// Figures of a busy machine are worth nothing; let it rest while this runs.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// options are how long and how much to measure.
type options struct {
	json    bool
	list    bool
	only    []string
	viewers []int
	time    time.Duration // of one round
	rounds  int           // of each side, by turns
}

// row is one measurement.
type row struct {
	Name  string  `json:"name"`
	Unit  string  `json:"unit"`
	Ours  float64 `json:"ours"`
	Bare  float64 `json:"bare"`
	Ratio float64 `json:"ratio"` // ours / bare; 0 where bare is 0
}

func newRow(name, unit string, ours, bare float64) row {
	r := row{Name: name, Unit: unit, Ours: ours, Bare: bare}
	if bare > 0 {
		r.Ratio = ours / bare
	}
	return r
}

// bench is one entry of the table of what can be measured.
type bench struct {
	name  string
	about string // what is measured, and against what
	run   func(ctx context.Context, o options) ([]row, error)
}

var benches = []bench{
	{"clock", "which frame reads an edge: exact fractions against one division of floats", clockBench},
	{"session", "holds, gaps and verdicts of edges: a session against a bare count of frames", sessionBench},
	{"take", "edges out of a take: the checked format against bare variable-length integers", takeBench},
	{"flash", "looking at a frame for flashes: the analyser against a bare sum over its bytes", flashBench},
	{"fanout", "an update to each viewer: the program's WebSockets against bare TCP with a length before each message; viewers run in this process too", fanoutBench},
}

var errUsage = errors.New("usage")

func parse(args []string, stderr io.Writer) (options, error) {
	o := options{}
	var only, viewers string
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	flags.SetOutput(stderr)
	flags.BoolVar(&o.json, "json", false, "write JSON")
	flags.BoolVar(&o.list, "list", false, "say what can be measured and stop")
	flags.StringVar(&only, "only", "", "measure only these `names`, comma separated")
	flags.StringVar(&viewers, "viewers", "1,50,200,1000", "`numbers` of viewers of the fan-out")
	flags.DurationVar(&o.time, "time", 2*time.Second, "`duration` of one round")
	flags.IntVar(&o.rounds, "rounds", 3, "rounds of each side, by turns")
	if err := flags.Parse(args); err != nil {
		return o, errors.Join(errUsage, err)
	}
	usage := func(format string, a ...any) (options, error) {
		fmt.Fprintf(stderr, format+"\n", a...)
		return o, errUsage
	}
	if flags.NArg() > 0 {
		return usage("bench takes no argument, but got %q; to choose write --only NAME,…", flags.Arg(0))
	}
	if o.time <= 0 || o.time > time.Minute {
		return usage("--time %v is not between 0 and 1m: write for example --time 2s", o.time)
	}
	if o.rounds < 1 || o.rounds > 100 {
		return usage("--rounds %d is not between 1 and 100", o.rounds)
	}
	for v := range strings.SplitSeq(viewers, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(v))
		if err != nil || n < 1 || n > 2000 {
			return usage("--viewers %q: %q is not a number from 1 to 2000", viewers, v)
		}
		o.viewers = append(o.viewers, n)
	}
	if only != "" {
		for name := range strings.SplitSeq(only, ",") {
			name = strings.TrimSpace(name)
			if !slices.ContainsFunc(benches, func(b bench) bool { return b.name == name }) {
				var known []string
				for _, b := range benches {
					known = append(known, b.name)
				}
				return usage("there is nothing named %q to measure; there are %s", name, strings.Join(known, ", "))
			}
			o.only = append(o.only, name)
		}
	}
	return o, nil
}

func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	o, err := parse(args, stderr)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return 0
	case err != nil:
		return 2
	}
	if o.list {
		for _, b := range benches {
			fmt.Fprintf(stdout, "%-8s %s\n", b.name, b.about)
		}
		return 0
	}
	var rows []row
	for _, b := range benches {
		if len(o.only) > 0 && !slices.Contains(o.only, b.name) {
			continue
		}
		fmt.Fprintf(stderr, "measuring %s\n", b.name)
		got, err := b.run(ctx, o)
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			fmt.Fprintf(stderr, "measuring %s: %v\n", b.name, err)
			return 1
		}
		rows = append(rows, got...)
	}
	if err := write(stdout, o.json, rows); err != nil {
		fmt.Fprintln(stderr, err)
		return 1
	}
	return 0
}

// report is what --json writes.
type report struct {
	Go   string `json:"go"`
	OS   string `json:"os"`
	Arch string `json:"arch"`
	CPUs int    `json:"cpus"`
	Rows []row  `json:"rows"`
}

func write(w io.Writer, asJSON bool, rows []row) error {
	if asJSON {
		enc := json.NewEncoder(w)
		enc.SetIndent("", "  ")
		return enc.Encode(report{runtime.Version(), runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), rows})
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "ours\tbare\tunit\tratio\t  \twhat")
	for _, r := range rows {
		ratio := "-"
		if r.Ratio > 0 {
			ratio = strconv.FormatFloat(r.Ratio, 'f', 2, 64)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t  \t%s\n", figure(r.Ours), figure(r.Bare), r.Unit, ratio, r.Name)
	}
	return t.Flush()
}

// figure writes three digits that matter.
func figure(v float64) string {
	if v >= 100 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'g', 3, 64)
}
