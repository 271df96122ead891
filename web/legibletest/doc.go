// Package legibletest shows that the counts on the strip survive a stream: it
// lays the strip over scenes of a game, encodes them as a stream at a modest
// rate would be, shrinks the decoded picture to the size of a phone's, and reads
// the digits back. It has no code outside its tests.
package legibletest
