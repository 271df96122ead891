// Command check sets up what the tests need and then runs every check of the
// project. It is the one command for contributors and for continuous
// integration:
//
//	go run ./cmd/check            run everything, leave out what this machine cannot do
//	go run ./cmd/check --strict   fail if anything was left out
//	go run ./cmd/check --list     name the checks
//	go run ./cmd/check --only format,vet
//
// # Setting up
//
// On Debian as root it installs the missing packages with apt-get; elsewhere it
// names them. The kernel for the test machine and two npm packages at exact
// versions go to a cache folder outside the tree (HOLDGAP_CACHE, or holdgap in
// the user's cache folder). Nothing is believed to be there: a compiler has to
// compile and a browser has to say its version.
//
// # What the tests are told
//
//	HOLDGAP_STRICT=1   with --strict: fail instead of skipping
//	HOLDGAP_AXE=PATH   axe.min.js of axe-core, for accessibility tests in a browser
//
// A test that cannot run calls Skip with a message that begins "left out:".
// Such tests, and checks whose needs could not be met, are listed at the end
// and are failures with --strict. A check that finds nothing to check fails.
//
// # Exit status
//
// 0 when all passed, 1 when a check failed, 2 for wrong usage. (go run turns
// every failure into 1.) The last line is always "N passed, N failed".
package main
