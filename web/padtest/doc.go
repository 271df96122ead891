// Package padtest tests the page to play from in a real browser: with a made-up
// navigator.getGamepads and real key events, against a small server that has the
// program's own side of a pad, capture/page.
package padtest
