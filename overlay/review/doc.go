// Package review looks at a whole take at once: what a player's hands did, how
// often, and where in the take.
//
// A [Review] takes edges one after the other, runs them through a
// [session.Session], so that it sees what live saw, and adds up: presses, unseen
// and merged ones, holds, gaps and spacings, multi-presses by their spacings,
// outcomes with their rate and its interval, and the course of it all over time.
// A [Log] hands out every single entry, final and in order, with its certainty.
//
// Both are pure: no clock, no I/O, no goroutine. What a review keeps does not
// grow with the take: counts in bins, at most [MaxSlots] slots of time, at most
// [MaxPatterns] patterns and at most [MaxSegments] segments. It allocates nothing
// per edge.
//
// A [Segment] begins where nothing is held, nothing is being judged, and nothing
// has happened for so long that nothing before can matter. So a session that
// begins there finds what a session from the beginning finds (ids are counted
// from the segment's), and any part of a long take can be looked at without
// reading all of it.
package review
