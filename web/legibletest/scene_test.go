package legibletest

import (
	"image"
	"math"
	"math/rand/v2"
)

// scenery is a made-up game scene: two layers of texture that move by at
// different speeds, and bodies that move about. It is busier than most, to leave
// the encoder little to spare for the strip.
type scenery struct {
	far, near []byte // grey levels, tiles of tile × tile px
	base      [3]float64
	span      float64
}

const tile = 512 // px; a power of two

func newScenery(seed uint64, bright bool) *scenery {
	rng := rand.New(rand.NewPCG(seed, 1))
	s := &scenery{far: texture(rng, 32), near: texture(rng, 8), base: [3]float64{14, 18, 34}, span: 90}
	if bright {
		s.base, s.span = [3]float64{150, 170, 180}, 75
	}
	return s
}

// texture is value noise: random levels on a grid of the given pitch, smoothly
// joined.
func texture(rng *rand.Rand, pitch int) []byte {
	n := tile / pitch
	grid := make([]float64, n*n)
	for i := range grid {
		grid[i] = rng.Float64()
	}
	smooth := func(t float64) float64 { return t * t * (3 - 2*t) }
	out := make([]byte, tile*tile)
	for y := range tile {
		gy, fy := y/pitch, smooth(float64(y%pitch)/float64(pitch))
		for x := range tile {
			gx, fx := x/pitch, smooth(float64(x%pitch)/float64(pitch))
			at := func(i, j int) float64 { return grid[(gy+j)%n*n+(gx+i)%n] }
			top := at(0, 0)*(1-fx) + at(1, 0)*fx
			low := at(0, 1)*(1-fx) + at(1, 1)*fx
			out[y*tile+x] = byte(255 * (top*(1-fy) + low*fy))
		}
	}
	return out
}

// paint draws frame i into img.
func (s *scenery) paint(img *image.RGBA, i int) {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	t := float64(i) / 60
	type body struct{ x, y, r float64 }
	bodies := []body{
		{(0.5 + 0.3*math.Sin(2.1*t)) * float64(w), 0.6 * float64(h), 130},
		{(0.5 + 0.35*math.Sin(1.3*t+2)) * float64(w), (0.55 + 0.2*math.Sin(3*t)) * float64(h), 110},
	}
	for y := range h {
		for x := range w {
			f := float64(s.far[y&(tile-1)*tile+(x+2*i)&(tile-1)]) / 255
			n := float64(s.near[(y+i)&(tile-1)*tile+(x+5*i)&(tile-1)]) / 255
			level := 0.65*f + 0.35*n
			tint := [3]float64{1, 0.9, 0.8}
			for k, b := range bodies {
				if dx, dy := float64(x)-b.x, float64(y)-b.y; dx*dx+dy*dy < b.r*b.r {
					level = 0.3 + 0.7*n
					tint = [3]float64{1.1, 0.5 + 0.4*float64(k), 0.6}
				}
			}
			p := img.Pix[img.PixOffset(x, y):]
			for c := range 3 {
				p[c] = byte(min(255, s.base[c]+s.span*level*tint[c]))
			}
			p[3] = 255
		}
	}
}
