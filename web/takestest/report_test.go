package takestest

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/render/report"
	"holdgap/themes"
	"holdgap/web/internal/chromium"
	"holdgap/web/takes"
)

// reportPage writes a report about the takes of a shelf.
func reportPage(t testing.TB) string {
	t.Helper()
	dir := shelf(t)
	read := func(weight int) []byte {
		b, err := fs.ReadFile(themes.Fonts(), themes.FontFile(weight))
		require.NoError(t, err)
		return b
	}
	r := report.Report{Title: "Three evenings <&>", Made: time.Date(2026, 5, 20, 8, 0, 0, 0, time.UTC), Regular: read(400), Bold: read(700)}
	for _, name := range []string{"evening one", "evening two", "evening three"} {
		f, err := takes.Open(t.Context(), filepath.Join(dir, name+takes.Ext), nil)
		require.NoError(t, err)
		jg, err := f.Judging(0, takes.Try{})
		require.NoError(t, err)
		j, err := f.Judge(t.Context(), jg, nil)
		require.NoError(t, err)
		s := j.Setup
		r.Takes = append(r.Takes, report.Take{Name: name, Start: j.Start(), Seconds: j.Seconds(), Profile: "Loomyard", Demo: true, Rate: s.Rate,
			Read: s.Rule, Window: s.Target.Window, Target: s.Target.Name, Rules: s.Target.Rules.String(), Anchored: true, Starter: "south",
			Opening: s.Target.Opening, Summary: j.Summary, Marks: []report.Mark{{Seconds: 12, Text: "felt <b>good</b>"}}})
	}
	path := filepath.Join(t.TempDir(), "report.html")
	out, err := os.Create(path)
	require.NoError(t, err)
	require.NoError(t, report.Write(out, r))
	require.NoError(t, out.Close())
	return path
}

// A report is one file that asks nobody for anything, fits every screen, breaks no
// rule of axe-core, and prints on pages of its own.
func TestReport(t *testing.T) {
	path := reportPage(t)
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	text := string(b)
	require.NotRegexp(t, regexp.MustCompile(`(?i)https?://|<script|<link|@import|src="`), text)
	require.Contains(t, text, "Three evenings &lt;&amp;&gt;")
	require.NotContains(t, text, "<b>good</b>")

	tab := chromium.Start(t).Tab(t, chromium.View{W: 1280, H: 900})
	tab.Open("file://" + path)
	require.Zero(t, chromium.Eval[int](tab, `performance.getEntriesByType('resource').filter((e) => !e.name.startsWith('data:')).length`))
	for _, width := range []int{360, 1280} {
		for _, dark := range []bool{false, true} {
			tab.View(chromium.View{W: width, H: 900, Dark: dark})
			height := chromium.Eval[int](tab, `document.documentElement.scrollHeight`)
			tab.View(chromium.View{W: width, H: height, Dark: dark})
			assert.LessOrEqual(t, chromium.Eval[int](tab, `document.documentElement.scrollWidth`), width)
			tab.Run(`new Promise((r) => setTimeout(() => requestAnimationFrame(() => requestAnimationFrame(r)), 200))`)
			keep(t, fmt.Sprintf("report-%d-%v", width, dark), tab.Screenshot())
		}
	}
	yes := true
	pdf, err := chromedp.Call(tab.Context(), page.PrintToPDF, page.PrintToPDFParams{PrintBackground: &yes})
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(string(pdf.Data), "%PDF"))
	if dir := os.Getenv("HOLDGAP_PICTURES"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "report.pdf"), []byte(pdf.Data), 0o644))
	}
	axeOnly(t, tab)
}
