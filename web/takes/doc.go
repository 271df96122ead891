// Package takes is what the program does with takes: the folder that keeps them,
// recording what an engine hears, playing a take into an engine, judging a take
// by its own settings or by others, and the HTTP behind the page of takes.
//
// A take carries the settings in force as the text of a profile (the name is
// [ProfileName]), so that it explains itself; [ProfileOf] and [ParseProfile] turn
// an engine's setup into that text and back, losslessly.
//
// The page is sent only what its view needs: a take is judged once, in one pass
// that keeps little ([holdgap/overlay/review]), and each look at a part of it
// reads that part of the file. Nothing that a look tries changes the take.
package takes
