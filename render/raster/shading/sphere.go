package shading

import (
	"math"
	"math/bits"

	"catchlight/material/microfacet"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// Sphere is light from all directions as a picture of n x n texels (n a power of two) with smaller copies, and copies that
// are smeared as surfaces of growing roughness do. Read-only once made.
//
// Directions fold out onto a square by way of the octahedron: no trigonometry, no pole.
// Source: Cigolle et al., A Survey of Efficient Representations for Independent Unit Vectors, JCGT 3(2), 2014.
type Sphere struct {
	sharp []level // side n, n/2, ... 1
	rough []level // of roughAlpha
}

// level holds linear RGB radiance, 3 values a texel.
type level struct {
	n   int
	pix []float32
}

// roughAlpha are the GGX alphas of the smeared copies; 0 is the sharp picture.
var roughAlpha = [...]float64{0, 0.01, 0.04, 0.1, 0.25, 0.5, 1}

// roughSide bounds the side of the smeared copies: the rougher, the fewer texels are needed.
var roughSide = [...]int{0, 256, 128, 64, 32, 32, 16}

// prefilterSamples is the number of directions that a texel of a smeared copy takes the mean of.
const prefilterSamples = 128

// NewSphere fills a picture of n x n texels, n a power of two in [8, 4096], by asking f for the light of each texel (see Direction), and smears it.
//
// Source: Karis, in the course Physically Based Shading in Theory and Practice, SIGGRAPH 2013 (the split sum: the view and the normal are taken to lie along the
// reflected direction); Krivanek and Colbert, Real-time Shading with Filtered Importance Sampling, EGSR 2008 (each direction reads a copy
// whose texel is as wide as the sample).
func NewSphere(n, workers int, f func(x, y int) colour.RGB) *Sphere {
	s := &Sphere{}
	base := newLevel(n)
	parallel.Each(n, workers, func(y int) {
		for x := range n {
			base.set(x, y, f(x, y))
		}
	})
	s.sharp = append(s.sharp, base)
	for m := n / 2; m >= 1; m /= 2 {
		s.sharp = append(s.sharp, s.sharp[len(s.sharp)-1].half())
	}
	s.rough = append(s.rough, base)
	for k := 1; k < len(roughAlpha); k++ {
		l := newLevel(min(n, roughSide[k]))
		parallel.Each(l.n, workers, func(y int) {
			for x := range l.n {
				l.set(x, y, s.smear(Direction(l.n, x, y).Unit(), roughAlpha[k]))
			}
		})
		s.rough = append(s.rough, l)
	}
	return s
}

// smear returns the mean of the light about r that a surface of the given alpha reflects when looked at from r.
func (s *Sphere) smear(r geom.Vec, alpha float64) colour.RGB {
	g := microfacet.Reflect{AX: alpha, AY: alpha}
	fr := geom.NewFrame(r)
	n := float64(s.sharp[0].n)
	texel := 4 * math.Pi / (n * n)
	var sum colour.RGB
	weight := 0.0
	for i := range prefilterSamples {
		u0 := (float64(i) + 0.5) / prefilterSamples
		u1 := float64(bits.Reverse32(uint32(i))) / (1 << 32) // the van der Corput sequence
		wi, _, _, pdf, ok := g.Sample(geom.Vec{Z: 1}, u1, u0)
		if !ok {
			continue
		}
		lod := 0.5 * math.Log2(1/(prefilterSamples*pdf)/texel)
		l := s.lod(fr.World(wi), lod)
		sum = sum.Add(l.Scale(wi.Z))
		weight += wi.Z
	}
	return sum.Scale(1 / weight)
}

// lod reads the sharp copies, linear between levels.
func (s *Sphere) lod(d geom.Vec, lod float64) colour.RGB {
	last := len(s.sharp) - 1
	lod = max(0, min(float64(last), lod))
	k := min(int(lod), last-1)
	return colour.Lerp(s.sharp[k].at(d), s.sharp[k+1].at(d), lod-float64(k))
}

// At returns what a surface of the given GGX alpha reflects about direction d.
func (s *Sphere) At(d geom.Vec, alpha float64) colour.RGB {
	k := 0
	for k < len(roughAlpha)-2 && roughAlpha[k+1] <= alpha {
		k++
	}
	a, b := math.Sqrt(roughAlpha[k]), math.Sqrt(roughAlpha[k+1])
	f := max(0, min(1, (math.Sqrt(max(0, alpha))-a)/(b-a)))
	if f == 0 {
		return s.rough[k].at(d)
	}
	return colour.Lerp(s.rough[k].at(d), s.rough[k+1].at(d), f)
}

// Harmonics returns the coefficients of the picture's light.
func (s *Sphere) Harmonics() Harmonics {
	l := &s.sharp[0]
	for i := range s.sharp { // 64 texels a side tell the low orders to far below a per cent
		if s.sharp[i].n <= 64 {
			l = &s.sharp[i]
			break
		}
	}
	var h Harmonics
	total := 0.0
	const sub = 4 // points along a texel's side: its own middle alone is off by a thousandth
	n := l.n * sub
	for y := range n {
		for x := range n {
			p := Direction(n, x, y)
			w := solidAngle(n, p)
			h.Add(p.Unit(), l.get(x/sub, y/sub), w)
			total += w
		}
	}
	for i := range h {
		h[i] = h[i].Scale(4 * math.Pi / total)
	}
	return h
}

func newLevel(n int) level { return level{n, make([]float32, 3*n*n)} }

func (l *level) set(x, y int, v colour.RGB) {
	i := 3 * (y*l.n + x)
	l.pix[i], l.pix[i+1], l.pix[i+2] = float32(v[0]), float32(v[1]), float32(v[2])
}

func (l *level) get(x, y int) colour.RGB {
	i := 3 * (y*l.n + x)
	return colour.RGB{float64(l.pix[i]), float64(l.pix[i+1]), float64(l.pix[i+2])}
}

// half returns the level of half the side; texels count by their solid angle.
func (l *level) half() level {
	out := newLevel(l.n / 2)
	for y := range out.n {
		for x := range out.n {
			var sum colour.RGB
			w := 0.0
			for k := range 4 {
				i, j := 2*x+k%2, 2*y+k/2
				v, a := l.get(i, j), solidAngle(l.n, Direction(l.n, i, j))
				sum = sum.Add(v.Scale(a))
				w += a
			}
			out.set(x, y, sum.Scale(1/w))
		}
	}
	return out
}

// Direction returns the point of the octahedron |x|+|y|+|z| = 1 in the middle of a texel; scaled to length 1 it is its direction.
func Direction(n, x, y int) geom.Vec {
	u, v := (float64(x)+0.5)/float64(n)*2-1, 1-(float64(y)+0.5)/float64(n)*2
	return unfold(u, v)
}

func unfold(u, v float64) geom.Vec {
	z := 1 - math.Abs(u) - math.Abs(v)
	if z < 0 {
		u, v = math.Copysign(1-math.Abs(v), u), math.Copysign(1-math.Abs(u), v)
	}
	return geom.Vec{X: u, Y: v, Z: z}
}

// Place is the inverse of Direction: where the picture shows a direction of any length, in [0, 1] from the top left.
func Place(d geom.Vec) (u, v float64) {
	k := 1 / (math.Abs(d.X) + math.Abs(d.Y) + math.Abs(d.Z))
	u, v = d.X*k, d.Y*k
	if d.Z < 0 {
		u, v = math.Copysign(1-math.Abs(v), u), math.Copysign(1-math.Abs(u), v)
	}
	return (u + 1) / 2, (1 - v) / 2
}

// at reads the level at a direction, bilinear; the square's edges are sewn to themselves.
func (l *level) at(d geom.Vec) (out colour.RGB) {
	u, v := Place(d)
	n := float64(l.n)
	x, y := u*n-0.5, v*n-0.5
	xf, yf := math.Floor(x), math.Floor(y)
	fx, fy := x-xf, y-yf
	ix, iy := int(xf), int(yf)
	a, b := l.entry(ix, iy), l.entry(ix+1, iy)
	c, e := l.entry(ix, iy+1), l.entry(ix+1, iy+1)
	wa, wb, wc, we := (1-fx)*(1-fy), fx*(1-fy), (1-fx)*fy, fx*fy
	for i := range out {
		out[i] = wa*float64(a[i]) + wb*float64(b[i]) + wc*float64(c[i]) + we*float64(e[i])
	}
	return out
}

// entry returns the values of a texel that lies at most one step outside: beyond an edge of the folded-out octahedron lies the
// same edge, turned round.
func (l *level) entry(x, y int) *[3]float32 {
	n := l.n
	if x < 0 {
		x, y = -1-x, n-1-y
	} else if x >= n {
		x, y = 2*n-1-x, n-1-y
	}
	if y < 0 {
		y, x = -1-y, n-1-x
	} else if y >= n {
		y, x = 2*n-1-y, n-1-x
	}
	i := 3 * (y*n + x)
	return (*[3]float32)(l.pix[i : i+3])
}
