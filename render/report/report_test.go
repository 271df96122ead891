package report_test

import (
	"bytes"
	"encoding/xml"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/review"
	"holdgap/overlay/session"
	"holdgap/render/report"
)

func summary(presses int) review.Summary {
	cfg := session.Config{Clock: frame.NewClock(frame.Hz60, 0), Buttons: []capture.Button{{Label: "a&b"}, {Label: "starter"}},
		Target: session.Target{Window: 3, Wanted: 0, Anchored: true, Starter: 1, Opening: 10}}
	r := review.New(cfg)
	at := int64(1e9)
	for i := range presses {
		r.Edge(capture.Edge{At: at, Button: 1, Down: true})
		r.Edge(capture.Edge{At: at + 50e6, Button: 1})
		hit := at + int64(10+i%6)*16_666_667 - 5e6
		r.Edge(capture.Edge{At: hit, Down: true})
		r.Edge(capture.Edge{At: hit + int64(20+i%5*15)*1e6})
		at += 2e9
	}
	r.Finish(at)
	return r.Summary()
}

func write(t testing.TB, takes ...report.Take) string {
	var b bytes.Buffer
	require.NoError(t, report.Write(&b, report.Report{Title: "T", Made: time.Unix(0, 0).UTC(), Takes: takes}))
	return b.String()
}

// A page about any take, also an empty one, is whole and asks nobody for anything;
// its drawings are well-formed and stay within their frames.
func TestPages(t *testing.T) {
	for _, n := range []int{0, 1, 2, 40, 700} {
		one := report.Take{Name: "one", Rate: frame.Hz60, Window: 3, Anchored: true, Starter: "starter", Opening: 10, Summary: summary(n)}
		for _, takes := range [][]report.Take{{one}, {one, one, one}} {
			page := write(t, takes...)
			require.True(t, strings.HasSuffix(page, "</html>\n"))
			require.NotRegexp(t, regexp.MustCompile(`(?i)https?://|<script|<link|@import|src="|NaN|Inf|%!`), page)
			for _, svg := range regexp.MustCompile(`(?s)<svg.*?</svg>`).FindAllString(page, -1) {
				d := xml.NewDecoder(strings.NewReader(svg))
				for {
					_, err := d.Token()
					if err == io.EOF {
						break
					}
					require.NoError(t, err, svg)
				}
				require.NotRegexp(t, regexp.MustCompile(`(width|height|x|y)="-`), svg)
			}
			if n > 0 {
				require.Contains(t, page, "a&amp;b")
				require.NotContains(t, page, "a&b<")
			}
		}
	}
}

// The rate and interval on the page are those of the review (Wilson: NIST/SEMATECH
// e-Handbook 7.2.4.1). Of 40 tries three in six fall into the window of 3.
func TestRatesAreToldAsTheyAre(t *testing.T) {
	s := summary(36)
	require.EqualValues(t, 18, s.Outcomes[0].Count)
	page := write(t, report.Take{Name: "one", Rate: frame.Hz60, Anchored: true, Summary: s})
	// 18 of 36: (.3447, .6553) [computed from the formula].
	require.Contains(t, page, "<td>18</td><td>50 %</td><td>34 % … 66 %</td>")
}

func TestNoTake(t *testing.T) {
	require.ErrorContains(t, report.Write(io.Discard, report.Report{}), "no take")
}
