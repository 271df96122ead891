//go:build linux

// Command player plays inside the test machine: it starts the server under
// test, relays a port to it, and plugs devices in and presses their keys when
// told to over a connection. What it can be told is in package vmtest, at Player.
//
//	player -listen 10.0.2.15:7412 -relay 10.0.2.15:7410 -to 127.0.0.1:7411 -- /bin/server ARGS…
package main

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"sync"
)

func main() {
	listen := flag.String("listen", "", "address for commands")
	relay := flag.String("relay", "", "address that is relayed to the server")
	to := flag.String("to", "", "the server's own address")
	flag.Parse()
	if err := run(*listen, *relay, *to, flag.Args()); err != nil {
		fmt.Fprintln(os.Stderr, "player:", err)
		os.Exit(1)
	}
}

func run(listen, relay, to string, program []string) error {
	ctx, cancel := context.WithCancel(context.Background())
	var relays sync.WaitGroup
	defer relays.Wait()
	defer cancel()

	outside, err := net.Listen("tcp", relay)
	if err != nil {
		return fmt.Errorf("listening for the relay: %w", err)
	}
	relays.Go(func() { serveRelay(ctx, outside, to) })
	commands, err := net.Listen("tcp", listen)
	if err != nil {
		return fmt.Errorf("listening for commands: %w", err)
	}
	defer commands.Close()

	s := &server{program: program}
	if len(program) > 0 {
		if err := s.start(); err != nil {
			return err
		}
		defer s.stop()
	}
	p := &player{server: s}
	defer p.close()
	fmt.Println("player: listening on", commands.Addr())
	for {
		conn, err := commands.Accept()
		if err != nil {
			return fmt.Errorf("waiting for a connection: %w", err)
		}
		if quit := p.serve(conn); quit {
			return nil
		}
	}
}

// serve answers one connection's commands, a line each, until it ends.
func (p *player) serve(conn net.Conn) (quit bool) {
	defer conn.Close()
	in := bufio.NewScanner(conn)
	for in.Scan() {
		words := strings.Fields(in.Text())
		if len(words) == 1 && words[0] == "quit" {
			fmt.Fprintln(conn, "ok")
			return true
		}
		answer, err := p.do(words)
		if err != nil {
			answer = []string{"error:", strings.ReplaceAll(err.Error(), "\n", " ")}
		} else {
			answer = append([]string{"ok"}, answer...)
		}
		if _, err := fmt.Fprintln(conn, strings.Join(answer, " ")); err != nil {
			return false
		}
	}
	return false
}

// serveRelay passes connections on to another address until ctx ends, and
// returns when all of them are closed.
func serveRelay(ctx context.Context, l net.Listener, to string) {
	var open sync.WaitGroup
	defer open.Wait()
	defer context.AfterFunc(ctx, func() { l.Close() })()
	for {
		in, err := l.Accept()
		if err != nil {
			return
		}
		open.Go(func() {
			defer in.Close()
			out, err := net.Dial("tcp", to)
			if err != nil {
				return // the server is not up; the caller sees the connection close
			}
			defer out.Close()
			defer context.AfterFunc(ctx, func() { in.Close(); out.Close() })()
			var way sync.WaitGroup
			way.Go(func() { pass(out, in) })
			pass(in, out)
			way.Wait()
		})
	}
}

// pass copies one way and passes the end of the stream on.
func pass(to, from net.Conn) {
	_, _ = io.Copy(to, from) // an error ends the connection just so
	_ = to.(*net.TCPConn).CloseWrite()
}
