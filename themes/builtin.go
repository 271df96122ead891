package themes

import (
	"embed"
	"io/fs"
	"path"
	"strings"
	"sync"
)

//go:embed builtin/*.toml
var builtin embed.FS

//go:embed fonts
var fonts embed.FS

// Family is the font that comes with the program: Atkinson Hyperlegible Next,
// whose digits cannot be taken for one another; with the OpenType feature tnum
// they are all of one width.
const Family = "Atkinson Hyperlegible Next"

// Builtin returns the folder of the built-in theme files.
func Builtin() fs.FS { return sub(builtin, "builtin") }

// Fonts returns the folder of the font files (WOFF, which unpacks to what
// golang.org/x/image/font/opentype reads) and their licence.
func Fonts() fs.FS { return sub(fonts, "fonts") }

func sub(f embed.FS, dir string) fs.FS {
	s, err := fs.Sub(f, dir)
	if err != nil {
		panic(err) // dir is a constant
	}
	return s
}

// FontFile is the name in [Fonts] of the font nearest to a weight.
func FontFile(weight int) string {
	if weight < 550 {
		return "atkinson-hyperlegible-next-latin-400-normal.woff"
	}
	return "atkinson-hyperlegible-next-latin-700-normal.woff"
}

// fontURL is where a page of the program finds a font; empty for a font that is
// not the program's.
func fontURL(family string, weight int) string {
	if family != Family {
		return ""
	}
	return "/fonts/" + FontFile(weight)
}

// standard is the theme named [Standard], from which others take what they
// leave out.
var standard = sync.OnceValue(func() Theme {
	data, err := builtin.ReadFile(path.Join("builtin", Standard+".toml"))
	if err != nil {
		panic(err) // embedded
	}
	t, err := parse(Standard+".toml", data, Theme{})
	if err != nil {
		panic(err) // tested
	}
	return t
})

// Names returns the names of the built-in themes, the standard one first.
func Names() []string {
	names := []string{Standard}
	entries, err := fs.ReadDir(Builtin(), ".")
	if err != nil {
		panic(err) // embedded
	}
	for _, e := range entries {
		if n := strings.TrimSuffix(e.Name(), ".toml"); n != Standard {
			names = append(names, n)
		}
	}
	return names
}
