package export

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"

	"holdgap/overlay/frame"
)

const (
	nsPerMS     = 1_000_000
	nsPerSecond = 1_000_000_000
)

// WebVTT writes cues as a text track (WebVTT, https://www.w3.org/TR/webvtt1/),
// sorted by start; times are rounded to the format's ms. A cue that ends before
// zero is left out, one that begins before it begins at zero, and one that
// would have no length has 1 ms. note, if any, becomes a comment at the top.
func WebVTT(w io.Writer, note string, cues []Cue) error {
	out := bufio.NewWriter(w)
	_, _ = out.WriteString("WEBVTT\n") // the buffer keeps errors for Flush
	if note = vttText(note); note != "" {
		// A comment knows no escapes; it may hold anything but an arrow.
		note = strings.NewReplacer("&lt;", "<", "&gt;", ">", "&amp;", "&").Replace(note)
		_, _ = fmt.Fprintf(out, "\nNOTE\n%s\n", strings.ReplaceAll(note, "-->", "→"))
	}
	for _, c := range byStart(cues) {
		start, end := (max(c.StartNS, 0)+nsPerMS/2)/nsPerMS, (c.EndNS+nsPerMS/2)/nsPerMS
		if c.EndNS < 0 {
			continue
		}
		_, _ = fmt.Fprintf(out, "\n%s --> %s\n%s\n", vttTime(start), vttTime(max(end, start+1)), vttText(c.Text))
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("writing WebVTT: %w", err)
	}
	return nil
}

// vttTime writes ms as a WebVTT timestamp: two or more digits of hours.
func vttTime(ms int64) string {
	return fmt.Sprintf("%02d:%02d:%02d.%03d", ms/3_600_000, ms/60_000%60, ms/1000%60, ms%1000)
}

// vttText writes a text as cue text: the three escapes (with > escaped no text
// can hold "-->"), and no empty line, which would end the cue.
func vttText(s string) string {
	var lines []string
	for line := range strings.FieldsFuncSeq(s, func(r rune) bool { return r == '\n' || r == '\r' }) {
		if line = oneLine(line); strings.TrimSpace(line) != "" {
			lines = append(lines, line)
		}
	}
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;").Replace(strings.Join(lines, "\n"))
}

// Chapters writes cues as the chapters of an ffmpeg metadata file
// (https://ffmpeg.org/ffmpeg-formats.html#Metadata-1), sorted by start, with a
// title for the whole. With a rate, times are in frames of it, rounded to the
// nearest; with the zero rate they are in ns. The time base is always written.
// Times before zero become zero.
func Chapters(w io.Writer, title string, cues []Cue, rate frame.Rate) error {
	out := bufio.NewWriter(w)
	_, _ = out.WriteString(";FFMETADATA1\n")
	if title != "" {
		_, _ = fmt.Fprintf(out, "title=%s\n", ffEscape(title))
	}
	num, den := int64(1), int64(nsPerSecond)
	if !rate.IsZero() {
		num, den = rate.Den(), rate.Num()
	}
	for _, c := range byStart(cues) {
		start := ticks(c.StartNS, rate)
		_, _ = fmt.Fprintf(out, "\n[CHAPTER]\nTIMEBASE=%d/%d\nSTART=%d\nEND=%d\ntitle=%s\n",
			num, den, start, max(ticks(c.EndNS, rate), start), ffEscape(c.Text))
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("writing chapters: %w", err)
	}
	return nil
}

// ticks returns a time in frames of a rate, rounded to the nearest, or in ns.
func ticks(ns int64, rate frame.Rate) int64 {
	ns = max(ns, 0)
	if rate.IsZero() {
		return ns
	}
	whole, part := frame.NewClock(rate, 0).Length(ns)
	if part >= 0.5 {
		whole++
	}
	return int64(whole)
}

// ffEscape escapes what ffmpeg's metadata files give a meaning to.
func ffEscape(s string) string {
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(s)
	lines := strings.Split(s, "\n")
	for i := range lines {
		lines[i] = oneLine(lines[i])
	}
	return strings.NewReplacer(`\`, `\\`, "=", `\=`, ";", `\;`, "#", `\#`, "\n", "\\\n").Replace(strings.Join(lines, "\n"))
}

// byStart returns cues sorted by start, those of one start in their order.
func byStart(cues []Cue) []Cue {
	sorted := slices.Clone(cues)
	slices.SortStableFunc(sorted, func(a, b Cue) int {
		switch {
		case a.StartNS < b.StartNS:
			return -1
		case a.StartNS > b.StartNS:
			return 1
		}
		return 0
	})
	return sorted
}
