package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"
)

// goPackage is what go list says about a package of the module.
type goPackage struct {
	ImportPath   string
	Name         string
	Imports      []string
	TestImports  []string
	XTestImports []string
	TestGoFiles  []string
	XTestGoFiles []string
}

func (e *env) packages(ctx context.Context) ([]goPackage, error) {
	out, err := e.output(ctx, "go", "list", "-json=ImportPath,Name,Imports,TestImports,XTestImports,TestGoFiles,XTestGoFiles", "./...")
	if err != nil {
		return nil, fmt.Errorf("%w\n%s", err, out)
	}
	return decodePackages(strings.NewReader(out))
}

func decodePackages(r io.Reader) ([]goPackage, error) {
	var all []goPackage
	d := json.NewDecoder(r)
	for {
		var p goPackage
		err := d.Decode(&p)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("reading what go list says: %w", err)
		}
		all = append(all, p)
	}
	if len(all) == 0 {
		return nil, errors.New("go list ./... names no package")
	}
	return all, nil
}

// What makes a test a browser test or a kernel test: it can reach one of these.
const (
	browserDriver = "github.com/chromedp/chromedp"
	machineTests  = "holdgap/capture/evdev/vmtest"
)

// suites sorts the packages that have tests by what these tests need: nothing
// (unit), a browser, or a kernel of their own. A test that needs both a browser
// and a kernel is a kernel test.
type suites struct{ unit, browser, kernel []string }

func sortPackages(all []goPackage) suites {
	byPath := map[string]goPackage{}
	for _, p := range all {
		byPath[p.ImportPath] = p
	}
	// reaches follows imports inside the module only.
	var reaches func(from []string, goal string, seen map[string]bool) bool
	reaches = func(from []string, goal string, seen map[string]bool) bool {
		for _, f := range from {
			if f == goal {
				return true
			}
			if p, ours := byPath[f]; ours && !seen[f] {
				seen[f] = true
				if reaches(p.Imports, goal, seen) {
					return true
				}
			}
		}
		return false
	}
	var s suites
	for _, p := range all {
		if len(p.TestGoFiles)+len(p.XTestGoFiles) == 0 {
			continue
		}
		from := append(append([]string{}, p.TestImports...), p.XTestImports...)
		// Only a test helper's own imports say something about its tests: this
		// program imports the fetching of the kernel and boots nothing.
		if strings.HasSuffix(path.Base(p.ImportPath), "test") {
			from = append(append(from, p.ImportPath), p.Imports...)
		}
		switch {
		case reaches(from, machineTests, map[string]bool{}):
			s.kernel = append(s.kernel, p.ImportPath)
		case reaches(from, browserDriver, map[string]bool{}):
			s.browser = append(s.browser, p.ImportPath)
		default:
			s.unit = append(s.unit, p.ImportPath)
		}
	}
	return s
}
