// Package striptest tests the strip in Chromium: what it reads and keeps, what
// it draws (golden pictures), how it flashes, and what drawing costs. It has no
// code outside its tests.
package striptest
