package main

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"path/filepath"
	"slices"
	"time"

	"holdgap/capture/monotime"
	"holdgap/web/live"
	"holdgap/web/settings"
	"holdgap/web/takes"
)

// replaySource is a take that is played instead of what hands do.
type replaySource struct {
	path    string
	speed   float64
	profile settings.Profile // under which it was recorded
	play    *takes.Replay
}

// openReplay looks through the take of --source take:FILE.
func openReplay(ctx context.Context, arg string) (*replaySource, error) {
	path, speed, err := takes.ParseReplay(arg)
	if err != nil {
		return nil, usageError{fmt.Errorf("--source: %w", err)}
	}
	path, err = (&takesFlags{}).path(path)
	if err != nil {
		return nil, err
	}
	file, err := takes.Open(ctx, path, nil)
	if err != nil {
		return nil, err
	}
	p := file.Parts[0].Profile
	p.Name = "take: " + takeName(path)
	return &replaySource{path: path, speed: speed, profile: p}, nil
}

// over returns the settings with the take's profile in force.
func (r *replaySource) over(s settings.Settings) settings.Settings {
	if r == nil {
		return s
	}
	s.Profiles = append(slices.Clone(s.Profiles), r.profile)
	s.Profile, s.Chords = r.profile.Name, nil // a take has no chords in it
	return s
}

// feed makes the take a source of the engine.
func (r *replaySource) feed(e *live.Engine) live.Feed {
	r.play = &takes.Replay{Path: r.path, Speed: r.speed, Engine: e, IDs: e.IDs()}
	return live.Feed{Source: r.play}
}

// recording is what the live program does with takes.
type recording struct {
	folder  takes.Folder
	control *takes.Control
	toggle  chan struct{}
}

// startRecording listens to the engine: to a file at once if one is named, and
// always to the last minutes that the settings ask for.
func startRecording(e *live.Engine, s settings.Settings, profile func() string, file string, replayed bool) (*recording, error) {
	r := &recording{folder: takes.Folder{Dir: s.Takes.Folder}, toggle: make(chan struct{}, 1)}
	if r.folder.Dir == "" {
		d, err := takes.DefaultFolder()
		if err != nil {
			return nil, err
		}
		r.folder.Dir = d
	}
	ring := time.Duration(s.Takes.RingMinutes) * time.Minute
	if replayed {
		ring = 0 // it is a take already
	}
	r.control = takes.NewControl(takes.ControlOptions{Engine: e, Folder: r.folder, Ring: ring, Now: monotime.Now,
		Wall: time.Now, Profile: profile, Program: "holdgap live"})
	if file != "" {
		if err := r.control.StartAt(file); err != nil {
			return nil, errors.Join(err, r.control.Close())
		}
	}
	return r, nil
}

// routes are those of the page of takes, beside others.
func (r *recording) routes(others map[string]http.Handler) map[string]http.Handler {
	all := takes.NewServer(r.folder, r.control).Routes()
	maps.Copy(all, others)
	return all
}

// chord starts or stops a recording; it returns at once.
func (r *recording) chord(does string, _ int64) {
	if does != "take" {
		return
	}
	select {
	case r.toggle <- struct{}{}:
	default: // one is waiting already
	}
}

// run carries out what chords ask for until ctx ends, then ends the recording.
func (r *recording) run(ctx context.Context, warn func(key, text string)) error {
	const key = "take:chord"
	for {
		select {
		case <-ctx.Done():
			return r.control.Close()
		case <-r.toggle:
		}
		err := error(nil)
		if _, on := r.control.Recording(); on {
			err = r.control.Stop()
		} else {
			err = r.control.Start()
		}
		if err != nil {
			warn(key, err.Error())
		} else {
			warn(key, "")
		}
	}
}

// folderLine says where takes are kept, for the terminal.
func (r *recording) folderLine() string {
	if path, on := r.control.Recording(); on {
		return "recording to " + path
	}
	return "kept in " + filepath.Clean(r.folder.Dir)
}
