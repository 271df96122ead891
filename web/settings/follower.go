package settings

import (
	"context"
	"strings"
	"sync"

	"holdgap/capture"
)

// ProfileFor returns the name of the profile for a controller's identity: the one
// in force if it lists it, else the first that does; ok is false when none does.
// Letters are compared without case.
func (s *Settings) ProfileFor(identity string) (name string, ok bool) {
	lists := func(p *Profile) bool {
		for _, d := range p.Devices {
			if strings.EqualFold(d, identity) {
				return true
			}
		}
		return false
	}
	if identity == "" {
		return "", false
	}
	if p := s.Current(); p != nil && lists(p) {
		return p.Name, true
	}
	for i := range s.Profiles {
		if lists(&s.Profiles[i]) {
			return s.Profiles[i].Name, true
		}
	}
	return "", false
}

// plugged knows which controllers are there and which of them may choose the
// profile. A controller chooses when it is plugged in. A profile that was chosen
// by hand stays against the controllers that were there then, also when one of
// them drops out and comes back, until another controller chooses.
type plugged struct {
	here    map[uint16]string
	settled map[string]bool
}

// attach takes a device and returns its identity if it may choose.
func (p *plugged) attach(d capture.Device) (identity string, ok bool) {
	if d.Source == "demo" || d.Source == "take" {
		return "", false
	}
	identity = strings.ToLower(d.Identity)
	if was, known := p.here[d.ID]; known && was == identity {
		return "", false // a new description of a device that is there
	}
	p.here[d.ID] = identity
	return identity, identity != "" && !p.settled[identity]
}

func (p *plugged) detach(id uint16) { delete(p.here, id) }

// byHand tells that the profile was chosen by hand.
func (p *plugged) byHand() {
	p.settled = map[string]bool{}
	for _, identity := range p.here {
		p.settled[identity] = true
	}
}

// Follower puts a profile in force when a controller that it lists is plugged in,
// as long as the settings want it. Make one with [NewFollower].
type Follower struct {
	store *Store
	wake  chan struct{}

	mu    sync.Mutex
	queue []arrival
	plugs plugged
}

type arrival struct {
	device capture.Device
	here   bool
}

// NewFollower returns a follower for a store. [Follower.Run] has to be run.
func NewFollower(s *Store) *Follower {
	return &Follower{store: s, wake: make(chan struct{}, 1),
		plugs: plugged{here: map[uint16]string{}, settled: map[string]bool{}}}
}

// Device takes word of a device that is there or goes. It returns at once and
// calls nothing, so that it fits behind [live.Engine.OnDevice].
func (f *Follower) Device(d capture.Device, here bool) {
	f.mu.Lock()
	f.queue = append(f.queue, arrival{d, here})
	f.mu.Unlock()
	select {
	case f.wake <- struct{}{}:
	default:
	}
}

// Run follows until ctx ends.
func (f *Follower) Run(ctx context.Context) {
	profile := f.store.Get().Settings.Profile
	end := f.store.Subscribe(func(s Snapshot) {
		f.mu.Lock()
		defer f.mu.Unlock()
		if s.Settings.Profile != profile && s.By != ByDevice {
			f.plugs.byHand()
		}
		profile = s.Settings.Profile
	})
	defer end()
	for {
		for f.next() {
		}
		select {
		case <-ctx.Done():
			return
		case <-f.wake:
		}
	}
}

// next deals with the oldest arrival and reports whether there was one.
func (f *Follower) next() bool {
	f.mu.Lock()
	if len(f.queue) == 0 {
		f.mu.Unlock()
		return false
	}
	a := f.queue[0]
	f.queue = f.queue[1:]
	identity, may := "", false
	if a.here {
		identity, may = f.plugs.attach(a.device)
	} else {
		f.plugs.detach(a.device.ID)
	}
	f.mu.Unlock()
	if !may {
		return true
	}
	chosen := false
	// An error is told as the store's trouble; the profile is in force all the same.
	_, _ = f.store.ChangeFrom(0, ByDevice, func(s *Settings) error {
		if name, ok := s.ProfileFor(identity); ok && s.FollowDevice {
			s.Profile, chosen = name, true
		}
		return nil
	})
	if chosen {
		f.mu.Lock()
		f.plugs.settled = map[string]bool{}
		f.mu.Unlock()
	}
	return true
}
