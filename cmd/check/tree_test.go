package main

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestTopLevel(t *testing.T) {
	var files []string
	for _, name := range topLevel {
		files = append(files, name+"/x")
	}
	files = append(files, ".gitignore", ".ci/run")
	assert.Empty(t, topLevelFaults(files))

	faults := topLevelFaults(append(slices.Clone(files), "notes.txt", "web/y"))
	assert.Len(t, faults, 1)
	assert.Contains(t, faults[0], `"notes.txt"`)

	faults = topLevelFaults(files[1:])
	assert.Len(t, faults, 1)
	assert.Contains(t, faults[0], `"DEVELOPERS.md"`)
}

func TestMachinePaths(t *testing.T) {
	hints := machinePaths("/builds/team/tree")
	assert.Contains(t, hints, "/builds/team/tree")
	assert.Contains(t, hints, "/builds/team")
	assert.NotContains(t, machinePaths("/tmp/tree"), "/tmp")

	hints = []string{"/builds/team/tree", "/builds/team"}
	for text, faults := range map[string]int{
		"see /builds/team/tree/x.go":               1,
		"see /builds/team/shared/x.txt\nand on":    1,
		"https://example.org/builds/team/tree/x":   0,
		"the word rebuilds/team/tree is no path":   0,
		"\"/ho" + "me/somebody/x\"":                1,
		"/Us" + "ers/somebody/Library":             1,
		"write /home/you/takes for your own":       0,
		"https://example.org/ho" + "me/somebody/x": 0,
		"nothing": 0,
	} {
		assert.Len(t, pathFaults("a.go", text, hints), faults, "%q", text)
	}
}

func TestOwnText(t *testing.T) {
	assert.True(t, ownText("web/hub.go"))
	assert.False(t, ownText("web/static/vendor/plot.js"))
	assert.False(t, ownText("web/static/plot.min.js"))
	assert.False(t, ownText("testdata/long.md"))
}

func TestLinks(t *testing.T) {
	text := "[a](there.md) ![b](gone.png \"title\") [c](https://example.org/) [d](#part) [e](there.md#part) <img src=\"gone2.png\">"
	faults, n := linkFaults("README.md", text, func(p string) bool { return p == "there.md" })
	assert.Equal(t, 4, n)
	assert.Equal(t, []string{`README.md: link to "gone.png" leads nowhere`, `README.md: link to "gone2.png" leads nowhere`}, faults)
}

func TestClean(t *testing.T) {
	clean := treeState{known: true}
	dirty := treeState{known: true, changes: []string{" M a.go"}}
	dirtier := treeState{known: true, changes: []string{" M a.go", "?? left.txt"}}

	assert.False(t, cleanResult(clean, clean).failed)
	assert.True(t, cleanResult(clean, dirty).failed)
	res := cleanResult(dirty, dirtier)
	assert.False(t, res.failed)
	assert.Equal(t, []string{"changed meanwhile: ?? left.txt"}, res.notes)
	assert.NotEmpty(t, cleanResult(treeState{why: "no git"}, clean).leftOut)
}

func TestIsDebian(t *testing.T) {
	assert.True(t, isDebian("PRETTY_NAME=\"Debian\"\nID=debian\n"))
	assert.True(t, isDebian("ID=\"debian\"\n"))
	assert.False(t, isDebian("ID=other\nID_LIKE=debian\n"))
	assert.False(t, isDebian(""))
}

func TestSortPackages(t *testing.T) {
	test := []string{"a_test.go"}
	all := []goPackage{
		{ImportPath: "holdgap/overlay", TestGoFiles: test},
		{ImportPath: "holdgap/none"},
		{ImportPath: "holdgap/web/browsertest", Imports: []string{browserDriver}},
		{ImportPath: "holdgap/web/looks", XTestGoFiles: test, XTestImports: []string{"holdgap/web/browsertest"}},
		{ImportPath: "holdgap/web/direct", TestGoFiles: test, TestImports: []string{browserDriver}},
		{ImportPath: "holdgap/web/all", TestGoFiles: test, TestImports: []string{browserDriver, machineTests}},
		{ImportPath: machineTests, TestGoFiles: test},
		{ImportPath: "holdgap/cmd/check", TestGoFiles: test, Imports: []string{machineTests}},
	}
	s := sortPackages(all)
	assert.Equal(t, []string{"holdgap/overlay", "holdgap/cmd/check"}, s.unit)
	assert.Equal(t, []string{"holdgap/web/looks", "holdgap/web/direct"}, s.browser)
	assert.Equal(t, []string{"holdgap/web/all", machineTests}, s.kernel)
}

func TestFuzzTargets(t *testing.T) {
	assert.Equal(t, []string{"FuzzA", "FuzzB"}, fuzzTargets("FuzzA\nFuzzB\nok  \tholdgap/x\t0.01s\n"))
}
