// Package e2e tests the whole way: buttons pressed on real input devices of a
// real kernel, inside a virtual machine in which the program runs, and what
// comes out of its WebSocket and on its pages, seen from outside.
package e2e
