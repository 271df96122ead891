package themes_test

import (
	"image/color"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/overlay/colour"
	"holdgap/themes"
)

// scenes are what may lie behind a strip.
var scenes = map[string]color.NRGBA{
	"black":    {A: 255},
	"mid grey": {R: 128, G: 128, B: 128, A: 255},
	"white":    {R: 255, G: 255, B: 255, A: 255},
}

func parseColour(t *testing.T, s string) color.NRGBA {
	t.Helper()
	c, err := colour.Parse(s)
	require.NoError(t, err)
	return c
}

// Contrast ratios: WCAG 2.2, success criteria 1.4.3 (4.5 for text; the allowance
// for large text is not used) and 1.4.11 (3 for graphics). Colour vision: the
// matrices of Machado, Oliveira and Fernandes 2009, severity 1. That nothing is
// drawn without its casing, so that these pairs are all there are, is tested on
// the strip itself.
func TestContrastOfEveryTextAndMark(t *testing.T) {
	names := themes.Names()
	require.GreaterOrEqual(t, len(names), 5)
	for _, name := range names {
		theme, err := themes.Load(themes.Builtin(), name)
		require.NoError(t, err)
		pairs := theme.Pairs()
		require.NotEmpty(t, pairs)
		for _, p := range pairs {
			least := 3.0
			if p.Text {
				least = 4.5
			}
			for scene, behind := range scenes {
				back := colour.Over(parseColour(t, p.Back), behind)
				fore := colour.Over(parseColour(t, p.Fore), back)
				for _, v := range colour.Visions {
					got := colour.Contrast(v.See(colour.Of(fore)), v.See(colour.Of(back)))
					assert.GreaterOrEqual(t, got, least, "%s: %s: %s on %s over %s, %v vision", name, p.What, p.Fore, p.Back, scene, v)
				}
			}
		}
	}
}
