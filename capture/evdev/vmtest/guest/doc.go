// Package guest holds the tests of kernel input that run inside the test
// machine, as root and on devices that they make. They have the build tag vm,
// since outside that machine they would read and plug in devices of whoever
// runs them; package vmtest compiles and runs them from an ordinary test.
package guest
