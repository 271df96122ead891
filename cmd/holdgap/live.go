package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"time"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"holdgap/capture"
	"holdgap/capture/evdev"
	"holdgap/capture/monotime"
	"holdgap/capture/performer"
	"holdgap/overlay/frame"
	"holdgap/overlay/window"
	"holdgap/web"
	"holdgap/web/live"
)

// liveFlags are what the live verb was asked for.
type liveFlags struct {
	addr     string
	sources  []string
	rate     string
	read     string
	phase    string
	window   int64
	cleaning string
	seed     uint64
	open     bool
	verbose  bool
}

func liveCommand() *cobra.Command {
	var f liveFlags
	cmd := &cobra.Command{
		Use:   "live",
		Short: "Capture and serve the strip (also without a verb)",
		Long: `Captures the controllers and serves the pages. Add the printed address of the strip
as a browser source in the streaming program.

Sources (repeat --source for several):
  auto          every readable pad, stick and button box, pages that play, and the
                performer until a device is there (Linux; elsewhere pages and performer)
  evdev         the kernel's pads, sticks and button boxes
  evdev:PATH    one kernel device, for example evdev:/dev/input/event5
  page          pages that play: /pad, or /strip?play=1 in the streaming program
  demo          the performer: an invented player in an invented game`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runLive(cmd.Context(), f, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.addr, "addr", "127.0.0.1:7411", "address to serve on")
	fl.StringArrayVar(&f.sources, "source", []string{"auto"}, "where edges come from: auto, evdev, evdev:PATH, page or demo")
	fl.StringVar(&f.rate, "rate", "60", "the game's frames a second: 60, 60000/1001, 59.637405, …")
	fl.StringVar(&f.read, "read", "sampled", "how the game reads a button: sampled or latched")
	fl.StringVar(&f.phase, "phase", "unknown", "where the game's poll instants lie: unknown, or ms from the zero of the monotonic clock")
	fl.Int64Var(&f.window, "window", 3, "frames of the target window; 0 judges nothing")
	fl.StringVar(&f.cleaning, "opposites", "neutral", "opposite directions held together: neutral, last, up (up wins) or none")
	fl.Uint64Var(&f.seed, "seed", 1, "what the performer plays")
	fl.BoolVar(&f.open, "open", false, "open the strip in the browser")
	fl.BoolVar(&f.verbose, "verbose", false, "say more on the terminal")
	return cmd
}

// setup turns flags into a setup; every error is about the call.
func (f *liveFlags) setup() (live.Setup, error) {
	s := live.DefaultSetup()
	var err error
	if s.Rate, err = frame.ParseRate(f.rate); err != nil {
		return s, fmt.Errorf("--rate: %w", err)
	}
	if s.Rule, err = frame.ParseReadRule(f.read); err != nil {
		return s, fmt.Errorf("--read: %w", err)
	}
	if s.Cleaning, err = capture.ParseCleaning(f.cleaning); err != nil {
		return s, fmt.Errorf("--opposites: %w", err)
	}
	if f.phase != "unknown" {
		ms, err := strconv.ParseFloat(f.phase, 64)
		if err != nil || !(ms >= 0 && ms < s.Rate.FrameNS()/1e6) {
			return s, fmt.Errorf("--phase %q: write unknown, or milliseconds from 0 to below one frame (%.3f ms)", f.phase, s.Rate.FrameNS()/1e6)
		}
		ns := int64(ms * 1e6)
		s.Phase = &ns
	}
	s.Target.Window = frame.Frame(f.window)
	if f.window < 0 || s.Target.Window > window.MaxFrames {
		return s, fmt.Errorf("--window %d is outside 0 to %d frames: 0 judges nothing", f.window, window.MaxFrames)
	}
	return s, nil
}

// plan is what the sources asked for come to.
type plan struct {
	evdev bool
	paths []string
	pages bool
	demo  bool
	auto  bool
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
		default:
			return p, fmt.Errorf("--source %q: write auto, evdev, evdev:PATH, page or demo", s)
		}
	}
	return p, nil
}

func runLive(ctx context.Context, f liveFlags, stdout, stderr io.Writer) error {
	setup, err := f.setup()
	if err != nil {
		return usageError{err}
	}
	p, err := f.plan()
	if err != nil {
		return usageError{err}
	}
	host, _, err := net.SplitHostPort(f.addr)
	if err != nil {
		return usageError{fmt.Errorf("--addr %q: %w: write a host and a port, for example 127.0.0.1:7411", f.addr, err)}
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return usageError{fmt.Errorf("--addr %q: only this machine is served: write 127.0.0.1 or localhost as the host", f.addr)}
	}
	level := zerolog.WarnLevel
	if f.verbose {
		level = zerolog.DebugLevel
	}
	log := zerolog.New(zerolog.ConsoleWriter{Out: stderr, TimeFormat: time.TimeOnly}).Level(level).With().Timestamp().Logger()

	l, err := web.Listen(f.addr)
	if err != nil {
		return err
	}
	engine := live.New(live.Options{Setup: setup, Now: monotime.Now, Log: log})
	server := web.New(web.Options{Engine: engine, Pads: p.pages, Now: monotime.Now, Log: log})

	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	served := make(chan error, 1)
	go func() {
		err := server.Serve(ctx, l)
		if err != nil {
			cancel(err)
		}
		served <- err
	}()
	base := "http://" + l.Addr().String()
	fmt.Fprintf(stdout, "strip    %s/strip\n", base)
	if p.pages {
		fmt.Fprintf(stdout, "play     %s/pad   (or %s/strip?play=1 as the browser source)\n", base, base)
	}
	fmt.Fprintf(stdout, "Add the strip as a browser source. Ctrl-C ends.\n")
	if f.open {
		if err := openBrowser(base+"/strip"); err != nil {
			fmt.Fprintf(stderr, "holdgap: opening the browser: %v: open the address above by hand\n", err)
		}
	}
	err = engine.Run(ctx, p.feeds(engine, f.seed, log)...)
	cancel(err)
	if serr := <-served; err == nil {
		err = serr
	}
	return err
}

// feeds makes the sources of a plan.
func (p plan) feeds(e *live.Engine, seed uint64, log zerolog.Logger) []live.Feed {
	var feeds []live.Feed
	if p.evdev {
		feeds = append(feeds, live.Feed{Source: evdev.New(evdev.Options{
			Keys: e.Setup().Layout.Keys(), IDs: e.IDs(), Log: log})})
	}
	if len(p.paths) > 0 {
		feeds = append(feeds, live.Feed{Source: evdev.New(evdev.Options{
			Paths: p.paths, Keys: e.Setup().Layout.Keys(), IDs: e.IDs(), Log: log})})
	}
	if p.auto || p.demo {
		feeds = append(feeds, live.Feed{
			Standby: p.auto && !p.demo,
			Source:  performer.NewSource(performer.SourceOptions{Seed: seed, IDs: e.IDs(), Now: monotime.Now}),
		})
	}
	return feeds
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
