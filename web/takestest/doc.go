// Package takestest tests the page of takes in a real browser: it opens takes that
// the performer of the demo played, moves through them, and looks at the pictures.
package takestest
