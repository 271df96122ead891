package main

import (
	"context"
	"errors"
	"net"
	"os"
	"path/filepath"
	"reflect"
	"sync"

	"github.com/rs/zerolog"

	"holdgap/capture/evdev"
	"holdgap/capture/monotime"
	"holdgap/capture/performer"
	"holdgap/themes"
	"holdgap/web"
	"holdgap/web/desk"
	"holdgap/web/live"
	"holdgap/web/settings"
)

// app is the live program: the engine with its sources, the settings that it is
// judged by, and the server. Make one with newApp and run it once.
type app struct {
	flags  liveFlags
	log    zerolog.Logger
	folder string // of the settings; empty when there is none
	base   string // address of the pages for this machine
	listen net.Listener
	lan    *web.LAN // nil without --lan
	engine *live.Engine
	server *web.Server
	store  *settings.Store
	worn   *themes.Store
	desk   *desk.Desk
	takes  *recording
	feeds  []live.Feed
	kernel []*evdev.Source

	follower *settings.Follower // nil when a profile was named at the start
	endApply func()             // ends following the settings

	mu    sync.Mutex // orders what is put in force
	setup live.Setup
}

// newApp reads the settings and makes the engine with its sources. A call that
// does not fit the settings is a usageError.
func newApp(f liveFlags, p plan, log zerolog.Logger) (*app, error) {
	a := &app{flags: f, log: log}
	folder, err := settings.Folder()
	if err == nil {
		err = os.MkdirAll(folder, 0o700) // so that it can be watched
	}
	if err != nil {
		log.Warn().Err(err).Msg("settings and themes are not kept")
		folder = ""
	}
	a.folder = folder
	path := f.settings
	if path == "" {
		path = a.inFolder(settings.FileName)
	}
	a.store = settings.Open(settings.Options{Path: path, Log: log, Warn: a.warn})
	a.worn = themes.NewStore(a.inFolder("themes"))
	a.setup, err = f.setup(a.store.Get().Settings)
	if err != nil {
		return nil, usageError{err}
	}
	a.setup.ThemeRev = a.worn.Rev()
	if !f.given("profile") {
		a.follower = settings.NewFollower(a.store)
	}
	a.engine = live.New(live.Options{Setup: a.setup, Now: monotime.Now, Log: log})
	a.warn(settings.Trouble, a.store.Get().Trouble)
	a.sources(p)
	return a, nil
}

// serve makes the server that answers on l.
func (a *app) serve(l net.Listener, pads bool) (err error) {
	// Only now that the port is there, so that a start that fails leaves no take.
	a.takes, err = startRecording(a.engine, a.store.Get().Settings, a.profileName, a.flags.record, a.flags.replay != nil)
	if err != nil {
		return err
	}
	a.engine.OnChord(a.takes.chord)
	a.engine.OnMark(func(at int64) { a.warnErr("take:mark", a.takes.control.MarkAt(at, "")) })
	guard := web.Guard{}
	if a.flags.lan {
		guard.LAN, err = web.NewLAN(web.LANOptions{File: a.inFolder("tokens.toml"), Log: a.log})
		if err != nil {
			return err
		}
	}
	a.listen, a.lan = l, guard.LAN
	local := localAddr(l.Addr())
	a.base = "http://" + local
	a.desk = desk.New(desk.Options{Engine: a.engine, Store: a.store, Takes: a.takes.control, Themes: a.worn, LAN: guard.LAN,
		Addr: local, Pads: pads, Log: a.log,
		Learn: func(on bool) { a.server.Rebind(a.engine.Setup().Layout.Keys(), on) }})
	a.server = web.New(web.Options{Engine: a.engine, Pads: pads, Routes: a.takes.routes(a.desk.Routes()), Guard: guard,
		Themes: a.worn, Now: monotime.Now, Log: a.log})
	a.endApply = a.store.Subscribe(func(settings.Snapshot) { a.apply() })
	return nil
}

// deskAddress is where the desk opens on this machine. Served on an address of
// the network alone, there is no loopback to let the first desk in, so the token
// comes along.
func (a *app) deskAddress() string {
	tcp, ok := a.listen.Addr().(*net.TCPAddr)
	if a.lan == nil || !ok || tcp.IP.IsLoopback() || tcp.IP.IsUnspecified() {
		return a.base + "/desk"
	}
	return a.base + "/desk?k=" + a.lan.Token(web.Control)
}

// inFolder returns a file's path in the settings folder, or "" without one.
func (a *app) inFolder(name string) string {
	if a.folder == "" {
		return ""
	}
	return filepath.Join(a.folder, name)
}

// localAddr is the address under which this machine reaches a listener.
func localAddr(addr net.Addr) string {
	host, port, err := net.SplitHostPort(addr.String())
	if err != nil {
		return addr.String()
	}
	if ip := net.ParseIP(host); ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	return net.JoinHostPort(host, port)
}

// warn tells a trouble on strips and desks, as soon as there is an engine.
func (a *app) warn(key, text string) {
	if a.engine != nil {
		a.engine.Warn(key, text)
	}
}

// warnErr tells what went wrong, or that it no longer does.
func (a *app) warnErr(key string, err error) {
	if err != nil {
		a.warn(key, err.Error())
		return
	}
	a.warn(key, "")
}

// profileName is the name of the profile in force.
func (a *app) profileName() string {
	switch {
	case a.flags.replay != nil:
		return a.flags.replay.profile.Name
	case a.flags.given("profile"):
		return a.flags.profile
	}
	return a.store.Get().Settings.Profile
}

// sources makes the sources of a plan.
func (a *app) sources(p plan) {
	e := a.engine
	kernel := func(o evdev.Options) {
		o.Keys, o.IDs, o.Log = e.Setup().Layout.Keys(), e.IDs(), a.log
		s := evdev.New(o)
		a.kernel = append(a.kernel, s)
		a.feeds = append(a.feeds, live.Feed{Source: s})
	}
	if p.evdev {
		kernel(evdev.Options{})
	}
	if len(p.paths) > 0 {
		kernel(evdev.Options{Paths: p.paths})
	}
	if a.flags.replay != nil {
		a.feeds = append(a.feeds, a.flags.replay.feed(e))
	}
	if p.auto || p.demo {
		a.feeds = append(a.feeds, live.Feed{
			Standby: p.auto && !p.demo,
			Source:  performer.NewSource(performer.SourceOptions{Seed: a.flags.seed, IDs: e.IDs(), Now: monotime.Now}),
		})
	}
}

// apply puts the settings and themes as they are now in force. What does not fit
// the flags is told, and what was in force stays.
func (a *app) apply() {
	const key = "settings:flags"
	a.mu.Lock()
	defer a.mu.Unlock()
	setup, err := a.flags.setup(a.store.Get().Settings)
	if err == nil {
		setup.ThemeRev = a.worn.Rev()
		if reflect.DeepEqual(setup, a.setup) {
			a.warn(key, "")
			return
		}
		err = a.engine.Change(setup)
	}
	if err != nil {
		a.warn(key, "What is set does not fit how the program was started: "+err.Error())
		return
	}
	a.warn(key, "")
	a.warnErr("take:settings", a.takes.control.Changed())
	before := a.setup.Layout.Keys()
	a.setup = setup
	keys := setup.Layout.Keys()
	if reflect.DeepEqual(before, keys) {
		return
	}
	for _, s := range a.kernel {
		if err := s.Rebind(keys); err != nil { // the settings were checked
			a.log.Error().Err(err).Msg("binding the keys of the profile")
		}
	}
	a.server.Rebind(keys, a.engine.Learning())
}

// run serves and captures until ctx ends or something fails. When it returns,
// everything that it began has ended.
func (a *app) run(ctx context.Context) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var wg sync.WaitGroup
	defer wg.Wait()
	defer a.desk.Close()
	defer cancel(nil)
	defer a.endApply()
	wg.Go(func() {
		if err := a.store.Watch(ctx); err != nil {
			a.warn("settings:watch", err.Error())
		}
	})
	wg.Go(func() {
		if err := a.worn.Watch(ctx, a.apply); err != nil {
			a.log.Warn().Err(err).Msg("themes are read at the next start only")
		}
	})
	if a.follower != nil {
		defer a.engine.OnDevice(a.follower.Device)()
		wg.Go(func() { a.follower.Run(ctx) })
	}
	recorded := make(chan error, 1)
	wg.Go(func() { recorded <- a.takes.run(ctx, a.warn) })
	served := make(chan error, 1)
	go func() {
		err := a.server.Serve(ctx, a.listen)
		if err != nil {
			cancel(err)
		}
		served <- err
	}()
	err := a.engine.Run(ctx, a.feeds...)
	cancel(err)
	a.desk.Close()
	return errors.Join(err, <-served, <-recorded)
}
