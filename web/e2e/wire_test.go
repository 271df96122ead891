//go:build linux

package e2e

import (
	"math/big"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"holdgap/capture/evdev/vmtest"
	"holdgap/web/hub"
	"holdgap/web/wire"
)

// start boots a machine with the program running live.
func start(t *testing.T, args ...string) *vmtest.Player { return startWith(t, nil, args...) }

// startWith also puts files into the machine.
func startWith(t *testing.T, files map[string]string, args ...string) *vmtest.Player {
	return vmtest.StartPlayer(t, vmtest.Server{
		Files:   files,
		Package: "holdgap/cmd/holdgap", Args: append([]string{"live", "--addr", "127.0.0.1:7411", "--verbose"}, args...),
		Ready: "http://127.0.0.1:7411/strip", Timeout: 5 * time.Minute,
	})
}

// page follows the stream as a page does.
type page struct {
	t     *testing.T
	c     *websocket.Conn
	store hub.Store
	flash map[uint64]bool
}

func watch(t *testing.T, p *vmtest.Player) *page {
	c, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(p.BaseURL, "http")+"/wire/view", nil)
	require.NoError(t, err)
	t.Cleanup(func() { c.Close() })
	return &page{t: t, c: c, flash: map[uint64]bool{}}
}

// until reads on until what the page knows fulfils ok.
func (p *page) until(what string, ok func(wire.Update) bool) wire.Update {
	p.t.Helper()
	require.NoError(p.t, p.c.SetReadDeadline(time.Now().Add(30*time.Second)))
	for {
		if w := p.store.Whole(); w.Setup != nil && ok(w) {
			return w
		}
		var u wire.Update
		if err := p.c.ReadJSON(&u); err != nil {
			p.t.Fatalf("waiting for %s: %v; known: %+v", what, err, p.store.Whole())
		}
		p.store.Apply(&u)
		for _, m := range u.Multis {
			p.flash[m.ID] = p.flash[m.ID] || m.Flash
		}
	}
}

// frameOf is the frame of 60 a second, from the zero of the clock, that reads
// an edge at t ns: the least k with t ≤ k/60 s, worked out with math/big.
func frameOf(t int64) int64 {
	x := new(big.Int).Mul(big.NewInt(t), big.NewInt(60))
	k, r := new(big.Int).DivMod(x, big.NewInt(1e9), new(big.Int))
	if r.Sign() > 0 {
		k.Add(k, big.NewInt(1))
	}
	return k.Int64()
}

// reading is a press as the edges say that a game reads it.
type reading struct{ first, hold, gap int64 }

// readings reads one button's edges frame by frame, by the sampled rule.
func readings(edges []vmtest.Edge) (out []reading) {
	end := int64(-1)
	for i := 0; i+1 < len(edges); i += 2 {
		r := reading{first: frameOf(edges[i].At), gap: -1}
		r.hold = frameOf(edges[i+1].At) - r.first
		if end >= 0 {
			r.gap = r.first - end
		}
		end = r.first + r.hold
		out = append(out, r)
	}
	return out
}

func label(w wire.Update, p wire.Press) string { return w.Setup.Buttons[p.Button].Label }

// closed returns the presses of a button that were read and let go.
func closed(w wire.Update, button string) (out []reading) {
	for _, p := range w.Presses {
		if label(w, p) == button && p.State == wire.Closed {
			out = append(out, reading{p.First, p.Hold, p.Gap})
		}
	}
	return out
}

func device(w wire.Update) bool { return !w.Status.Demo && len(w.Status.Devices) == 1 }

// Presses on devices made through uinput and through uhid come out of the
// WebSocket with the holds and gaps that a second reader's kernel times give.
func TestKernelPressesComeOutOfTheWebSocket(t *testing.T) {
	p := start(t)
	w := watch(t, p)
	w.until("the performer", func(u wire.Update) bool { return u.Status.Demo && len(u.Presses) > 0 })

	for _, kind := range []string{"pad", "hid"} {
		p.Do("plug " + kind)
		u := w.until("the "+kind, device)
		require.Empty(t, closed(u, "south"))

		edges := p.Edges("press south 50 50 60 70 90")
		want := readings(edges)
		require.Len(t, want, 3)
		for i, r := range want {
			require.Positive(t, r.hold, "press %d is long enough to be seen", i)
		}
		u = w.until("three presses", func(u wire.Update) bool { return len(closed(u, "south")) == 3 })
		got := closed(u, "south")
		want[0].gap = got[0].gap // whatever was before
		require.Equal(t, want, got, kind)

		// Two presses and what they cover: from the frames by hand, W = 3.
		d1, d2 := want[1].first-want[0].first, want[2].first-want[1].first
		if d1 <= 8 && d2 <= 8 {
			u = w.until("a verdict", func(u wire.Update) bool { return len(u.Multis) > 0 && len(u.Multis[0].Presses) == 3 })
			m := u.Multis[0]
			require.Equal(t, []int64{d1, d2}, m.Spacings)
			if d1 <= 3 && d2 <= 3 {
				require.Equal(t, wire.Covered, m.Verdict)
				require.Equal(t, 3+d1+d2, m.Covered)
				require.True(t, w.flash[m.ID])
			} else {
				require.Equal(t, wire.Holed, m.Verdict)
				require.NotEmpty(t, m.Holes)
			}
		}

		// Unplugged while held: everything is let go; replugged, it goes on.
		p.Do("down east")
		w.until("east held", func(u wire.Update) bool {
			for _, q := range u.Presses {
				if label(u, q) == "east" && q.State == wire.Down {
					return true
				}
			}
			return false
		})
		p.Do("unplug")
		w.until("east let go", func(u wire.Update) bool { return len(closed(u, "east")) == 1 })
		w.until("the device gone and the performer back", func(u wire.Update) bool { return u.Status.Demo })
		p.Do("plug " + kind)
		w.until("the device back", device)
		want = readings(p.Edges("press west 60"))
		u = w.until("west", func(u wire.Update) bool { return len(closed(u, "west")) == 1 })
		require.Equal(t, want[0].first, closed(u, "west")[0].first)
		require.Equal(t, want[0].hold, closed(u, "west")[0].hold)

		// The hat (or the D-pad's keys) is a direction.
		p.Edges("down left")
		w.until("left", func(u wire.Update) bool {
			return len(u.Directions) > 0 && u.Directions[len(u.Directions)-1].Num == 4
		})
		p.Edges("up left")
		w.until("neutral", func(u wire.Update) bool { return u.Directions[len(u.Directions)-1].Num == 5 })
		p.Do("unplug")
		w.until("the performer", func(u wire.Update) bool { return u.Status.Demo })
	}

	// A keyboard that nobody bound is not even opened.
	p.Do("plug keyboard")
	p.Edges("press key_j 60")
	p.Do("plug box")
	u := w.until("the box", device)
	require.Len(t, u.Status.Devices, 1)
	require.Empty(t, u.Presses)

	// The server ends within a second and comes back; a page reconnects.
	status, took := p.Stop()
	require.Zero(t, status)
	require.Less(t, took, time.Second)
	p.Start()
	resp, err := http.Get(p.BaseURL + "/healthz")
	require.NoError(t, err)
	resp.Body.Close()
	require.Equal(t, http.StatusOK, resp.StatusCode)
	w = watch(t, p)
	w.until("the box again", device)
}
