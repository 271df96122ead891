// Command server stands in for a program under test in the test of the test
// machine: it serves one page that repeats the request's Host.
package main

import (
	"fmt"
	"net"
	"net/http"
	"os"
)

func main() {
	l, err := net.Listen("tcp", os.Args[1])
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Println("server: listening on", l.Addr())
	err = http.Serve(l, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		fmt.Fprintf(w, "host %s\n", r.Host)
	}))
	fmt.Fprintln(os.Stderr, err)
	os.Exit(1)
}
