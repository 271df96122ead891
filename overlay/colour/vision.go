package colour

// Vision is a way of seeing colours.
type Vision uint8

// The ways of seeing: the usual one, and one each without long-, medium- and
// short-wave cones.
const (
	Usual Vision = iota
	Protan
	Deutan
	Tritan
)

// Visions lists every Vision.
var Visions = []Vision{Usual, Protan, Deutan, Tritan}

// String returns the name of the vision.
func (v Vision) String() string {
	return [...]string{"usual", "protan", "deutan", "tritan"}[v%4]
}

// matrices turn linear sRGB into what the vision leaves of it, severity 1.
// Source: Machado, Oliveira and Fernandes, "A Physiologically-based Model for
// Simulation of Color Vision Deficiency", IEEE TVCG 15(6), 2009.
var matrices = [...][9]float64{
	Protan: {
		0.152286, 1.052583, -0.204868,
		0.114503, 0.786281, 0.099216,
		-0.003882, -0.048116, 1.051998,
	},
	Deutan: {
		0.367322, 0.860646, -0.227968,
		0.280085, 0.672501, 0.047413,
		-0.011820, 0.042940, 0.968881,
	},
	Tritan: {
		1.255528, -0.076749, -0.178779,
		-0.078411, 0.930809, 0.147602,
		0.004733, 0.691367, 0.303900,
	},
}

// See returns the colour that looks to the usual eye as c looks to v. What the
// model puts outside the colour space is clamped to it.
func (v Vision) See(c Linear) Linear {
	if v == Usual || int(v) >= len(matrices) {
		return c
	}
	m := &matrices[v]
	return Linear{
		R: clamp(m[0]*c.R + m[1]*c.G + m[2]*c.B),
		G: clamp(m[3]*c.R + m[4]*c.G + m[5]*c.B),
		B: clamp(m[6]*c.R + m[7]*c.G + m[8]*c.B),
	}
}

func clamp(v float64) float64 { return min(max(v, 0), 1) }
