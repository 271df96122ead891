package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestUsage(t *testing.T) {
	for _, args := range [][]string{
		{"--only", "nonsense"}, {"--only", ""}, {"--only", "vet,"}, {"vet"}, {"--fuzz", "-1s"}, {"--fuzz", "x"}, {"--nonsense"},
	} {
		var out, errs bytes.Buffer
		assert.Equal(t, 2, run(t.Context(), args, &out, &errs), "%q", args)
		assert.NotEmpty(t, errs.String(), "%q", args)
		assert.Empty(t, out.String(), "%q", args)
	}
}

func TestUsageQuotesTheOffendingText(t *testing.T) {
	var out, errs bytes.Buffer
	run(t.Context(), []string{"--only", "vet,nonsense"}, &out, &errs)
	assert.Contains(t, errs.String(), `"nonsense"`)
	assert.Contains(t, errs.String(), "vet, lint", "it should name the checks there are")
}

func TestList(t *testing.T) {
	var out, errs bytes.Buffer
	require.Equal(t, 0, run(t.Context(), []string{"--list"}, &out, &errs))
	for _, c := range flatten(allStages()) {
		assert.Contains(t, out.String(), c.name+" ")
		assert.NotEmpty(t, c.about, c.name)
	}
}

func TestEveryNeedIsKnown(t *testing.T) {
	var known []string
	for _, n := range allNeeds() {
		known = append(known, n.name)
	}
	for _, n := range needed(allStages()) {
		assert.Contains(t, known, n)
	}
}

func TestChoose(t *testing.T) {
	all := allStages()
	assert.NotContains(t, names(choose(all, options{})), "fuzz", "fuzzing is only done when asked for")
	assert.Contains(t, names(choose(all, options{fuzz: 1})), "fuzz")
	assert.Equal(t, []string{"vet", "unit"}, names(choose(all, options{only: []string{"unit", "vet"}})))
	assert.Len(t, names(choose(all, options{fuzz: 1})), len(names(all)))
}

// runFake runs made-up checks and returns what was printed and the exit status.
func runFake(t *testing.T, strict bool, lacks map[string]string, checks ...check) (string, int) {
	t.Helper()
	var out bytes.Buffer
	r := runner{env: &env{lacks: lacks}, out: &printer{w: &out}, strict: strict}
	r.runStages(t.Context(), []stage{{checks}})
	code := r.summary(t.Context())
	return out.String(), code
}

func fake(name string, res result) check {
	return check{name: name, run: func(context.Context, *env) result { return res }}
}

func lastLine(s string) string {
	lines := strings.Split(strings.TrimRight(s, "\n"), "\n")
	return lines[len(lines)-1]
}

func TestSummary(t *testing.T) {
	good, bad := fake("good", passed("fine")), fake("bad", failure("the whole story", "broken"))

	out, code := runFake(t, false, nil, good, good)
	assert.Equal(t, 0, code)
	assert.Equal(t, "2 passed, 0 failed", lastLine(out))

	out, code = runFake(t, false, nil, good, bad)
	assert.Equal(t, 1, code)
	assert.Equal(t, "1 passed, 1 failed", lastLine(out))
	assert.Contains(t, out, "the whole story")
	assert.Contains(t, out, "failed: bad")

	out, code = runFake(t, false, nil)
	assert.Equal(t, 1, code, "nothing checked is no success")
	assert.Equal(t, "0 passed, 0 failed", lastLine(out))
}

func TestWhatIsLeftOutFailsOnlyWhenStrict(t *testing.T) {
	partly := fake("partly", result{line: "9 tests, 1 left out", leftOut: []string{"TestFilm: no ffmpeg"}})
	out, code := runFake(t, false, nil, partly)
	assert.Equal(t, 0, code)
	assert.Contains(t, out, "left out: partly: TestFilm: no ffmpeg")
	assert.Equal(t, "1 passed, 0 failed", lastLine(out))

	out, code = runFake(t, true, nil, partly)
	assert.Equal(t, 1, code)
	assert.Equal(t, "0 passed, 1 failed", lastLine(out))

	needy := fake("needy", failure("", "it must not run at all"))
	needy.needs = []string{"qemu"}
	lacks := map[string]string{"qemu": "qemu is not there"}
	out, code = runFake(t, false, lacks, fake("good", passed("fine")), needy)
	assert.Equal(t, 0, code)
	assert.Contains(t, out, "left out: needy: qemu is not there")
	assert.Equal(t, "1 passed, 0 failed", lastLine(out), "what did not run has not passed")

	out, code = runFake(t, true, lacks, fake("good", passed("fine")), needy)
	assert.Equal(t, 1, code)
	assert.Equal(t, "1 passed, 1 failed", lastLine(out))
}

func TestInterruptIsAFailure(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	var out bytes.Buffer
	r := runner{env: &env{}, out: &printer{w: &out}}
	stop := check{name: "stop", run: func(context.Context, *env) result { cancel(); return passed("fine") }}
	r.runStages(ctx, []stage{{{stop, fake("after", passed("fine"))}}})
	assert.Equal(t, 1, r.summary(ctx))
	assert.NotContains(t, out.String(), "after")
	assert.Contains(t, out.String(), "interrupted")
}

// A module of its own, so that the log comes from the real go test.
func testModule(t *testing.T, files map[string]string) *env {
	t.Helper()
	root := t.TempDir()
	files["go.mod"] = "module example\n\ngo 1.26\n"
	for name, text := range files {
		path := filepath.Join(root, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	return &env{root: root, vars: append(os.Environ(), "GOFLAGS=", "GOWORK=off"), lacks: map[string]string{}}
}

func TestGoTest(t *testing.T) {
	e := testModule(t, map[string]string{
		"good/a_test.go": `package good
import "testing"
func TestGood(t *testing.T) { t.Run("sub", func(t *testing.T) {}) }
func TestNoFilm(t *testing.T) { t.Log("looking"); t.Skip("left out: ffmpeg is not there") }
func TestWhim(t *testing.T) { t.Skip("not today") }
func FuzzIt(f *testing.F) { f.Add(1); f.Add(2); f.Fuzz(func(t *testing.T, n int) {}) }
`,
		"bad/a_test.go": `package bad
import "testing"
func TestBad(t *testing.T) { t.Error("the reason of the failure") }
func TestFine(t *testing.T) { t.Log("chatter of what passed") }
`,
		"panics/a_test.go": `package panics
import "testing"
func TestPanics(t *testing.T) { panic("the reason of the panic") }
`,
		"broken/a_test.go": `package broken
import "testing"
func TestBroken(t *testing.T) { undefined() }
`,
		"empty/a_test.go": "package empty\n",
		"none/a.go":       "package none\n",
	})

	res := e.goTest(t.Context(), "./good", "./none")
	assert.False(t, res.failed, res.output)
	require.Len(t, res.leftOut, 1)
	assert.Equal(t, "example/good TestNoFilm: ffmpeg is not there", res.leftOut[0])
	require.Len(t, res.notes, 1)
	assert.Contains(t, res.notes[0], "example/good TestWhim: not today")
	assert.Contains(t, res.line, "5 tests, 2 of them fuzz seeds, 1 left out")
	closing := strings.Join(res.closing, "\n")
	assert.Contains(t, closing, "ok  \texample/good\t")
	assert.Contains(t, closing, "example/none\t[no test files]")

	res = e.goTest(t.Context(), "./bad", "./panics", "./broken")
	assert.True(t, res.failed)
	assert.Contains(t, res.output, "the reason of the failure")
	assert.Contains(t, res.output, "the reason of the panic")
	assert.Contains(t, res.output, "undefined: undefined")
	assert.NotContains(t, res.output, "chatter of what passed")
	closing = strings.Join(res.closing, "\n")
	assert.Contains(t, closing, "FAIL\texample/bad\t")
	assert.Contains(t, closing, "FAIL\texample/broken [build failed]")

	for _, pkg := range []string{"./none", "./empty"} {
		res = e.goTest(t.Context(), pkg)
		assert.True(t, res.failed, "%s: a run without tests checks nothing", pkg)
		assert.Equal(t, "no test ran", res.line)
	}
	res = e.goTest(t.Context(), "./missing")
	assert.True(t, res.failed)
}

func TestChecksThatFindNothingFail(t *testing.T) {
	e := testModule(t, map[string]string{"none/a.go": "package none\n"})
	for name, f := range map[string]func(context.Context, *env) result{"unit": checkUnit, "kernel": checkKernel, "browser": checkBrowser, "fuzz": checkFuzz, "build": checkBuild} {
		res := f(t.Context(), e)
		assert.True(t, res.failed, name)
	}
	bare := &env{root: t.TempDir(), vars: os.Environ()}
	for name, f := range map[string]func(context.Context, *env) result{"format": checkFormat, "tree": checkTree, "vet": checkVet, "docs": checkDocs} {
		res := f(t.Context(), bare)
		assert.True(t, res.failed, name)
	}
}

func TestFormat(t *testing.T) {
	e := testModule(t, map[string]string{"a/a.go": "package a\n"})
	assert.False(t, checkFormat(t.Context(), e).failed)
	require.NoError(t, os.WriteFile(filepath.Join(e.root, "a", "b.go"), []byte("package   a\n"), 0o600))
	res := checkFormat(t.Context(), e)
	assert.True(t, res.failed)
	assert.Contains(t, res.output, "a/b.go")
}

func TestCancelEndsAChildAndItsChildren(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	e := &env{vars: os.Environ()}
	cmd := e.command(ctx, "sh", "-c", "sh -c 'echo started; exec sleep 600'; true")
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	buf := make([]byte, 8)
	_, err = out.Read(buf)
	require.NoError(t, err)
	cancel()
	// The pipe's end comes only when every process that holds it is gone.
	_, err = out.Read(buf)
	require.Error(t, err)
	require.Error(t, cmd.Wait())
	endGroup(cmd)
}
