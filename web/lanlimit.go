package web

import (
	"crypto/sha256"
	"net/netip"
	"sync"
	"time"
)

// Limits on wrong tokens from one address.
const (
	failBurst  = 10               // different wrong tokens that may come at once
	failEvery  = 10 * time.Second // then one more in this time
	failKnown  = 1024             // addresses remembered
	failTokens = 8                // wrong tokens remembered for each
)

// failures limits guessing. An open page that keeps trying the token it once had
// is no guess: the same wrong token counts once. The zero value is ready.
type failures struct {
	mu sync.Mutex
	by map[netip.Prefix]*failing
}

type failing struct {
	left   float64
	at     time.Time
	tokens [failTokens][8]byte // beginnings of hashes
	n      int
}

// from is what counts as one address: an IPv6 machine has a whole /64 of them.
func from(remote string) netip.Prefix {
	a, err := netip.ParseAddr(remote)
	if err != nil {
		return netip.Prefix{}
	}
	a = a.Unmap().WithZone("")
	bits := 32
	if a.Is6() {
		bits = 64
	}
	p, _ := a.Prefix(bits)
	return p
}

func (f *failing) fill(now time.Time) {
	if now.After(f.at) {
		f.left = min(failBurst, f.left+now.Sub(f.at).Seconds()/failEvery.Seconds())
		f.at = now
	}
}

// wait returns how long an address has to wait, 0 if it need not.
func (f *failures) wait(remote string, now time.Time) time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	e := f.by[from(remote)]
	if e == nil {
		return 0
	}
	e.fill(now)
	if e.left >= 1 {
		return 0
	}
	return time.Duration((1 - e.left) * float64(failEvery))
}

// add counts a wrong token.
func (f *failures) add(remote, token string, now time.Time) {
	f.mu.Lock()
	defer f.mu.Unlock()
	who := from(remote)
	e := f.by[who]
	if e == nil {
		f.room(now)
		e = &failing{left: failBurst, at: now}
		f.by[who] = e
	}
	e.fill(now)
	sum := sha256.Sum256([]byte(token))
	id := [8]byte(sum[:8])
	for _, t := range e.tokens[:min(e.n, failTokens)] {
		if t == id {
			return
		}
	}
	e.tokens[e.n%failTokens] = id
	e.n++
	e.left = max(0, e.left-1)
}

// room keeps the table bounded: addresses with nothing against them go, else the
// one heard of longest ago.
func (f *failures) room(now time.Time) {
	if f.by == nil {
		f.by = map[netip.Prefix]*failing{}
	}
	if len(f.by) < failKnown {
		return
	}
	var oldest netip.Prefix
	var at time.Time
	for p, e := range f.by {
		if now.Sub(e.at).Seconds()/failEvery.Seconds()+e.left >= failBurst {
			delete(f.by, p)
			continue
		}
		if at.IsZero() || e.at.Before(at) {
			oldest, at = p, e.at
		}
	}
	if len(f.by) >= failKnown {
		delete(f.by, oldest)
	}
}
