package vmtest

import (
	"bufio"
	"context"
	"fmt"
	"net"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// Ports of the player's machine, inside it.
const (
	relayPort   = 7410
	commandPort = 7412
)

// Server is the program that runs in the player's machine, for example
//
//	Server{Package: "holdgap/cmd/holdgap", Args: []string{"live", "--source", "evdev"}, Ready: "/strip"}
type Server struct {
	Package string   // import path or ./folder of its main package
	Tags    string   // build tags
	Args    []string // its arguments
	Addr    string   // where it listens inside: "127.0.0.1:7411" if empty
	Ready   string   // what its console line contains once it listens
	Files   map[string]string
	Timeout time.Duration // of the whole machine; 0 is two minutes
}

// Player is a machine with a server under test and a player who presses
// buttons when told to.
type Player struct {
	// BaseURL is the server as the host sees it: "http://127.0.0.1:PORT". The
	// player relays that port to the server, which may therefore listen on the
	// loopback inside as it does for its user. Requests arrive unchanged: with
	// Host: 127.0.0.1:PORT, the host's port, not the server's.
	BaseURL string
	Machine *Machine

	tb    testing.TB
	ready string
	conn  net.Conn
	in    *bufio.Reader
}

// Edge is one edge as the player's own reader of the device saw it.
type Edge struct {
	Key  string // as in package capture: "south", "up", "key_j"
	Down bool
	At   int64 // ns on the guest's monotonic clock, the kernel's stamp
}

// StartPlayer boots a machine in which the server runs, waits until it says
// that it listens, and connects to the player. The machine ends with the test.
func StartPlayer(tb testing.TB, s Server) *Player {
	tb.Helper()
	Require(tb)
	p, err := startPlayer(tb, s)
	if err != nil {
		tb.Fatalf("starting the player's machine: %v", err)
	}
	return p
}

func startPlayer(tb testing.TB, s Server) (*Player, error) {
	if s.Addr == "" {
		s.Addr = "127.0.0.1:7411"
	}
	// The machine is stopped by the cleanup: a test's own context ends before.
	ctx := context.WithoutCancel(tb.Context())
	dir := tb.TempDir()
	server, player := filepath.Join(dir, "server"), filepath.Join(dir, "player")
	if err := Build(ctx, server, s.Package, s.Tags, false); err != nil {
		return nil, err
	}
	if err := Build(ctx, player, "holdgap/capture/evdev/vmtest/player", "", false); err != nil {
		return nil, err
	}
	files := map[string]string{"/bin/server": server, "/bin/player": player}
	for guest, host := range s.Files {
		files[guest] = host
	}
	m, err := Boot(ctx, Config{
		Files: files,
		Run: []Command{{Path: "/bin/player", Args: append([]string{
			"-listen", fmt.Sprintf("10.0.2.15:%d", commandPort),
			"-relay", fmt.Sprintf("10.0.2.15:%d", relayPort),
			"-to", s.Addr, "--", "/bin/server",
		}, s.Args...)}},
		Forward: []int{relayPort, commandPort},
		Timeout: s.Timeout,
	})
	if err != nil {
		return nil, err
	}
	p := &Player{BaseURL: "http://" + m.Addr(relayPort), Machine: m, tb: tb, ready: s.Ready}
	tb.Cleanup(func() {
		if p.conn != nil {
			p.conn.Close()
		}
		m.Close()
		if tb.Failed() {
			tb.Logf("the test machine's console:\n%s", strings.Join(m.Console(), "\n"))
		}
	})
	for _, text := range []string{"player: listening", s.Ready} {
		if _, err := m.WaitLine(ctx, text); err != nil {
			return nil, err
		}
	}
	p.conn, err = net.Dial("tcp", m.Addr(commandPort))
	if err != nil {
		return nil, fmt.Errorf("connecting to the player: %w", err)
	}
	p.in = bufio.NewReader(p.conn)
	return p, nil
}

// Do gives the player one command and returns the answer's words; an error
// fails the test. The commands:
//
//	plug pad | box | keyboard | hid   → NUMBER NODE
//	unplug                            → TIME in ns, just before it
//	down KEY…, up KEY…                → edges
//	press KEY HOLD [GAP HOLD]…        → edges; lengths in ms
//	axis x|y|z|rx|ry|rz VALUE         → edges (an axis alone makes none)
//	stop, start                       the server: see [Player.Stop], [Player.Start]
//	quit                              the machine powers off
//
// pad, box and keyboard are made through uinput, hid through uhid from a report
// descriptor. Plugging in the same kind again after unplug is a replug. A
// command goes to the device plugged in last, or with @NUMBER before it to that
// one. KEY is a name as in package capture; up, down, left and right are the
// hat's, or the D-pad's keys on a box. Edges are KEY+TIME (down) and KEY-TIME
// (up) with the kernel's own time in ns: see [ParseEdges].
//
// A server needs a moment to open a device that is plugged in, and what is held
// then is no press to it: wait until the server says that it has the device
// before pressing.
//
// The lengths of press are the least; in an emulated machine they can come out
// some milliseconds longer. Expect what the edges say.
func (p *Player) Do(command string) []string {
	p.tb.Helper()
	if err := p.conn.SetDeadline(time.Now().Add(time.Minute)); err != nil {
		p.tb.Fatalf("telling the player %q: %v", command, err)
	}
	if _, err := fmt.Fprintln(p.conn, command); err != nil {
		p.tb.Fatalf("telling the player %q: %v", command, err)
	}
	line, err := p.in.ReadString('\n')
	if err != nil {
		p.tb.Fatalf("waiting for the player's answer to %q: %v", command, err)
	}
	words := strings.Fields(line)
	if len(words) == 0 || words[0] != "ok" {
		p.tb.Fatalf("the player answers %q with %q", command, strings.TrimSpace(line))
	}
	return words[1:]
}

// Edges is [Player.Do] for commands that answer with edges.
func (p *Player) Edges(command string) []Edge {
	p.tb.Helper()
	edges, err := ParseEdges(p.Do(command))
	if err != nil {
		p.tb.Fatalf("the player's answer to %q: %v", command, err)
	}
	return edges
}

// Stop interrupts the server as Ctrl-C does, and says with which status it ended
// (−1 if a signal ended it) and how long that took.
func (p *Player) Stop() (status int, took time.Duration) {
	p.tb.Helper()
	words := p.Do("stop")
	var ms int
	if _, err := fmt.Sscan(strings.Join(words, " "), &status, &ms); err != nil {
		p.tb.Fatalf("the player answers %q with %q", "stop", words)
	}
	return status, time.Duration(ms) * time.Millisecond
}

// Start starts the server again after [Player.Stop], and waits until it listens.
func (p *Player) Start() {
	p.tb.Helper()
	from := len(p.Machine.Console())
	p.Do("start")
	ctx, cancel := context.WithTimeout(p.tb.Context(), time.Minute)
	defer cancel()
	if _, err := p.Machine.waitLine(ctx, from, p.ready); err != nil {
		p.tb.Fatalf("starting the server anew: %v", err)
	}
}

// ParseEdges reads the edges of an answer.
func ParseEdges(words []string) (edges []Edge, err error) {
	for _, word := range words {
		i := strings.LastIndexAny(word, "+-")
		if i < 0 {
			return nil, fmt.Errorf("%q is no edge", word)
		}
		at, err := strconv.ParseInt(word[i+1:], 10, 64)
		if err != nil {
			return nil, fmt.Errorf("%q is no edge: %w", word, err)
		}
		edges = append(edges, Edge{Key: word[:i], Down: word[i] == '+', At: at})
	}
	return edges, nil
}
