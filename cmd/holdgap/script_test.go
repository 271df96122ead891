package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets the scripts run the test binary as the program.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"holdgap": func() {
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
			code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
			stop()
			os.Exit(code)
		},
	})
}

// TestScripts runs every script of testdata/script: exit status, output, errors,
// and files that must or must not be there.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Setenv("XDG_CONFIG_HOME", e.WorkDir+"/config")
			e.Setenv("XDG_DATA_HOME", e.WorkDir+"/data")
			return nil
		},
	})
}
