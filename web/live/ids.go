package live

import "sync"

// idPool hands out device numbers, the least free one first, and takes them
// back: a page that connects again and again must not use them up.
type idPool struct {
	mu   sync.Mutex
	used map[uint16]bool
}

// Next returns a device number that nothing else has, or 0 when all 65535 are
// taken.
func (p *idPool) Next() uint16 {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.used == nil {
		p.used = map[uint16]bool{}
	}
	for n := uint16(1); n != 0; n++ {
		if !p.used[n] {
			p.used[n] = true
			return n
		}
	}
	return 0
}

// LentIDs are device numbers for one connection.
type LentIDs struct {
	pool *idPool
	mu   sync.Mutex
	lent []uint16
}

// LendIDs returns numbers that are given back together.
func (e *Engine) LendIDs() *LentIDs { return &LentIDs{pool: &e.ids} }

// Next returns a device number.
func (l *LentIDs) Next() uint16 {
	l.mu.Lock()
	defer l.mu.Unlock()
	n := l.pool.Next()
	l.lent = append(l.lent, n)
	return n
}

// Return gives the numbers back, once their devices are detached.
func (l *LentIDs) Return() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.pool.mu.Lock()
	defer l.pool.mu.Unlock()
	for _, n := range l.lent {
		delete(l.pool.used, n)
	}
	l.lent = nil
}
