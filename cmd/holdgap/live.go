package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"os/exec"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/window"
	"holdgap/web"
	"holdgap/web/live"
	"holdgap/web/settings"
)

// liveFlags are what the live verb was asked for.
type liveFlags struct {
	addr     string
	lan      bool
	settings string
	profile  string
	target   string
	sources  []string
	rate     string
	read     string
	phase    string
	window   int64
	cleaning string
	seed     uint64
	record   string
	open     bool
	verbose  bool

	given  func(flag string) bool // whether a flag was on the command line
	replay *replaySource          // the take of --source take:FILE, nil for none
}

func liveCommand() *cobra.Command {
	var f liveFlags
	cmd := &cobra.Command{
		Use:   "live",
		Short: "Capture and serve the strip (also without a verb)",
		Long: `Captures the controllers and serves the pages. Add the printed address of the strip
as a browser source in the streaming program; set everything up on the desk.

What the desk sets is kept in the settings file (see holdgap settings). A flag given
here holds instead for this run, and is not kept.

Sources (repeat --source for several):
  auto          every readable pad, stick and button box, pages that play, and the
                performer until a device is there (Linux; elsewhere pages and performer)
  evdev         the kernel's pads, sticks and button boxes
  evdev:PATH    one kernel device, for example evdev:/dev/input/event5
  page          pages that play: /pad, or /strip?play=1 in the streaming program
  demo          the performer: an invented player in an invented game
  take:FILE     a recorded take, by the settings it was recorded under; take:FILE@0.5
                plays it at half its speed`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runLive(cmd.Context(), f, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f.register(cmd.Flags())
	return cmd
}

// register makes the flags.
func (f *liveFlags) register(fl *pflag.FlagSet) {
	f.given = fl.Changed
	fl.StringVar(&f.addr, "addr", "127.0.0.1:7411", "address to serve on")
	fl.BoolVar(&f.lan, "lan", false, "serve other machines of the network too, by token; the desk shows their addresses")
	fl.StringVar(&f.settings, "settings", "", "the settings `file` (see holdgap settings path)")
	fl.StringVar(&f.profile, "profile", "", "the profile to use, by `name`, whatever is plugged in")
	fl.StringVar(&f.target, "target", "", "the target to judge by, by `name`; \"\" for none")
	fl.StringArrayVar(&f.sources, "source", []string{"auto"}, "where edges come from: auto, evdev, evdev:PATH, page, demo or take:FILE")
	fl.StringVar(&f.record, "record", "", "record a take to a new `file` from the start")
	fl.StringVar(&f.rate, "rate", "", "the game's frames a second: 60, 60000/1001, 59.637405, …")
	fl.StringVar(&f.read, "read", "", "how the game reads a button: sampled or latched")
	fl.StringVar(&f.phase, "phase", "", "where the game's poll instants lie: unknown, or ms from the zero of the monotonic clock")
	fl.Int64Var(&f.window, "window", 0, "frames of a window to judge by instead of a target; 0 judges nothing")
	fl.StringVar(&f.cleaning, "opposites", "", "opposite directions held together: neutral, last, up (up wins) or none")
	fl.Uint64Var(&f.seed, "seed", 1, "what the performer plays")
	fl.BoolVar(&f.open, "open", false, "open the desk in the browser")
	fl.BoolVar(&f.verbose, "verbose", false, "say more on the terminal")
}

// setup returns what to judge by: the settings with the flags over them. Every
// error is about the call, as long as the settings are right.
func (f *liveFlags) setup(s settings.Settings) (live.Setup, error) {
	s = f.replay.over(s.Clone())
	if f.given("profile") {
		s.Profile = f.profile
	}
	p := s.Current()
	if p == nil {
		return live.Setup{}, fmt.Errorf("--profile %q: there is no such profile: there are %s", f.profile, quotedNames(s.Profiles, func(p settings.Profile) string { return p.Name }))
	}
	var err error
	if f.given("rate") {
		if p.Rate, err = frame.ParseRate(f.rate); err != nil {
			return live.Setup{}, fmt.Errorf("--rate: %w", err)
		}
		if t := p.Rate.FrameNS() / 1e6; p.PhaseMS != nil && *p.PhaseMS >= t {
			p.PhaseMS = nil // it was for another rate
		}
	}
	if f.given("read") {
		if p.Read, err = frame.ParseReadRule(f.read); err != nil {
			return live.Setup{}, fmt.Errorf("--read: %w", err)
		}
	}
	if f.given("opposites") {
		if p.Cleaning, err = capture.ParseCleaning(f.cleaning); err != nil {
			return live.Setup{}, fmt.Errorf("--opposites: %w", err)
		}
	}
	if f.given("phase") {
		p.PhaseMS = nil
		if f.phase != "unknown" {
			t := p.Rate.FrameNS() / 1e6
			ms, err := strconv.ParseFloat(f.phase, 64)
			if err != nil || !(ms >= 0 && ms < t) {
				return live.Setup{}, fmt.Errorf("--phase %q: write unknown, or milliseconds from 0 to below one frame (%.3f ms)", f.phase, t)
			}
			p.PhaseMS = &ms
		}
	}
	if f.given("window") {
		if f.given("target") {
			return live.Setup{}, fmt.Errorf("--target %q and --window %d: give one of them", f.target, f.window)
		}
		if f.window < 0 || f.window > int64(window.MaxFrames) {
			return live.Setup{}, fmt.Errorf("--window %d is outside 0 to %d frames: 0 judges nothing", f.window, window.MaxFrames)
		}
		p.Target, p.Window = "", f.window
	}
	if f.given("target") {
		name := func(t settings.Target) string { return t.Name }
		if f.target != "" && !slices.ContainsFunc(p.Targets, func(t settings.Target) bool { return t.Name == f.target }) {
			return live.Setup{}, fmt.Errorf("--target %q: profile %q has no such target: it has %s", f.target, p.Name, quotedNames(p.Targets, name))
		}
		p.Target = f.target
	}
	out, err := p.Setup()
	if err != nil {
		return out, err
	}
	out.Theme, out.Strip, out.Chords = s.Strip.Theme, s.Strip.Options, s.LiveChords(out.Layout)
	return out, nil
}

// quotedNames lists names for people.
func quotedNames[T any](list []T, name func(T) string) string {
	if len(list) == 0 {
		return "none"
	}
	var out []string
	for _, x := range list {
		out = append(out, strconv.Quote(name(x)))
	}
	return strings.Join(out, ", ")
}

// plan is what the sources asked for come to.
type plan struct {
	evdev bool
	paths []string
	pages bool
	demo  bool
	auto  bool
	take  string // FILE or FILE@SPEED
}

func (f *liveFlags) plan() (plan, error) {
	var p plan
	for _, s := range f.sources {
		kind, arg, has := strings.Cut(s, ":")
		switch {
		case kind == "auto" && !has:
			p.auto, p.pages = true, true
			p.evdev = p.evdev || runtime.GOOS == "linux"
		case kind == "evdev" && !has:
			p.evdev = true
		case kind == "evdev" && arg != "":
			p.paths = append(p.paths, arg)
		case kind == "page" && !has:
			p.pages = true
		case kind == "demo" && !has:
			p.demo = true
		case kind == "take" && arg != "":
			p.take = arg
		default:
			return p, fmt.Errorf("--source %q: write auto, evdev, evdev:PATH, page, demo or take:FILE", s)
		}
	}
	if p.take != "" && len(f.sources) > 1 {
		return p, fmt.Errorf("--source %q: a take is played alone: give no other source", "take:"+p.take)
	}
	return p, nil
}

// listenAddr is the address to listen on.
func (f *liveFlags) listenAddr() (string, error) {
	addr := f.addr
	if f.lan && !f.given("addr") {
		_, port, _ := net.SplitHostPort(addr)
		addr = ":" + port // every address of the machine
	}
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return "", fmt.Errorf("--addr %q: %w: write a host and a port, for example 127.0.0.1:7411", addr, err)
	}
	if ip := net.ParseIP(host); !f.lan && host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return "", fmt.Errorf("--addr %q: only this machine is served: write 127.0.0.1 or localhost as the host, or add --lan", addr)
	}
	return addr, nil
}

func runLive(ctx context.Context, f liveFlags, stdout, stderr io.Writer) error {
	p, err := f.plan()
	if err != nil {
		return usageError{err}
	}
	addr, err := f.listenAddr()
	if err != nil {
		return usageError{err}
	}
	level := zerolog.WarnLevel
	if f.verbose {
		level = zerolog.DebugLevel
	}
	log := zerolog.New(zerolog.ConsoleWriter{Out: stderr, TimeFormat: time.TimeOnly}).Level(level).With().Timestamp().Logger()
	if p.take != "" {
		if f.replay, err = openReplay(ctx, p.take); err != nil {
			return err
		}
	}
	a, err := newApp(f, p, log)
	if err != nil {
		return err
	}
	l, err := web.Listen(addr)
	if err != nil {
		return err
	}
	if err := a.serve(l, p.pages); err != nil {
		_ = l.Close()
		return err
	}
	fmt.Fprintf(stdout, "strip    %s/strip\n", a.base)
	fmt.Fprintf(stdout, "desk     %s\n", a.deskAddress())
	fmt.Fprintf(stdout, "takes    %s/takes   (%s)\n", a.base, a.takes.folderLine())
	if p.pages {
		fmt.Fprintf(stdout, "play     %s/pad   (or %s/strip?play=1 as the browser source)\n", a.base, a.base)
	}
	if f.lan {
		fmt.Fprintf(stdout, "Other machines of the network are let in by the addresses that the desk shows.\n")
	}
	fmt.Fprintf(stdout, "Add the strip as a browser source. Ctrl-C ends.\n")
	if f.open {
		if err := openBrowser(a.deskAddress()); err != nil {
			fmt.Fprintf(stderr, "holdgap: opening the browser: %v: open the address above by hand\n", err)
		}
	}
	return a.run(ctx)
}

// openBrowser asks the desktop to open an address, and does not wait for the
// browser to end.
func openBrowser(url string) error {
	name, args := "xdg-open", []string{url}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", url}
	}
	cmd := exec.Command(name, args...)
	if err := cmd.Start(); err != nil {
		return err
	}
	return cmd.Process.Release()
}
