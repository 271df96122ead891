// Package desktest tests the desk in a real browser against the whole program but
// for its command line: settings in a file, an engine, the server and its guard.
package desktest
