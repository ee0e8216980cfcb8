package eye

import (
	"math"

	"catchlight/scene/geom"
)

// iris lays out the front of the iris in polar coordinates (theta, rho): rho runs from 0 at the pupil's margin to 1 at
// the root, along straight lines from a slightly ragged margin about the pupil's centre to the circular root about
// the axis. When the pupil widens, tissue keeps its (theta, rho), as Pamplona et al., ACM TOG 28 (2009), observed.
type iris struct {
	root, lip float64 // radii about the axis, mm
	pupil     float64 // mean radius of the margin, mm
	cx, cy    float64 // centre of the pupil, mm
	shape     Pupil
	a, b      float64       // half axes of a slit or bar along x and y, mm
	ragged    [5][2]float64 // cosine and sine amplitudes of harmonics 2 to 6
	z         float64       // of the pupil plane, mm
	convexity float64
	relief    float64
	rimSeed   uint64 // of where iris and white meet

	wall   wall
	tissue *tissue // relief and pigment; nil is flat
}

func newIris(p *Params, z float64) *iris {
	ir := &iris{root: p.irisRadius(), lip: p.lipRadius(), pupil: p.PupilDiameter / 2, cx: p.PupilOffset[0], cy: p.PupilOffset[1],
		z: z, convexity: p.IrisConvexity, relief: p.IrisRelief, rimSeed: stream(p.Seed, "rim").Uint64()}
	switch long, short := p.PupilDiameter/2, p.PupilDiameter/2/p.PupilAspect; p.PupilShape {
	case Slit:
		ir.shape, ir.a, ir.b = Slit, short, long
	case Bar:
		ir.shape, ir.a, ir.b = Bar, long, short
	}
	ir.wall = newWall(p, ir.root, ir.lip, z-ir.convexity)
	rng := stream(p.Seed, "margin")
	sum := 0.0
	for i := range ir.ragged {
		amp, phase := (0.6+0.4*rng.Float64())/(1+float64(i)*float64(i)*0.5), 2*math.Pi*rng.Float64()
		sin, cos := math.Sincos(phase)
		ir.ragged[i] = [2]float64{amp * cos, amp * sin}
		sum += amp
	}
	if ir.shape != Round {
		// The radius of the circle of the same reach round the clock.
		ir.pupil = 0
		for i := range 256 {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / 256)
			ir.pupil += ir.contour(cos, sin) / 256
		}
	}
	for i := range ir.ragged {
		ir.ragged[i][0] *= p.PupilRagged / sum
		ir.ragged[i][1] *= p.PupilRagged / sum
	}
	return ir
}

// contour returns the distance of the pupil's shape from its centre in the direction (cos, sin), mm: a circle, or a
// superellipse |x/a|^k + |y/b|^k = 1, whose ends are pointed for k below 2 and whose corners are full above (Lame curve).
func (ir *iris) contour(cos, sin float64) float64 {
	switch ir.shape {
	case Slit:
		return math.Pow(math.Pow(math.Abs(cos)/ir.a, 1.6)+math.Pow(math.Abs(sin)/ir.b, 1.6), -1/1.6)
	case Bar:
		x, y := cos*cos/(ir.a*ir.a), sin*sin/(ir.b*ir.b)
		return math.Pow(x*x+y*y, -0.25)
	}
	return ir.pupil
}

// reach returns the longest distance of the margin from the pupil's centre, mm, without its raggedness.
func (ir *iris) reach() float64 {
	if ir.shape == Round {
		return ir.pupil
	}
	return max(ir.a, ir.b)
}

// least returns the shortest one.
func (ir *iris) least() float64 {
	if ir.shape == Round {
		return ir.pupil
	}
	return min(ir.a, ir.b)
}

// edge returns the distance of the margin from the pupil's centre in the direction (cos, sin): harmonics 2 to 6 on the
// contour, which never add up to more than PupilRagged.
func (ir *iris) edge(cos, sin float64) float64 {
	s := 1.0
	x, y := cos, sin // powers of the direction as a complex number
	for i := range ir.ragged {
		x, y = x*cos-y*sin, x*sin+y*cos
		s += ir.ragged[i][0]*x - ir.ragged[i][1]*y
	}
	return ir.contour(cos, sin) * s
}

// margin returns the point d mm outside the margin at angle theta, about the pupil's centre.
func (ir *iris) margin(theta, d float64) (x, y float64) {
	sin, cos := math.Sincos(theta)
	r := ir.edge(cos, sin) + d
	return ir.cx + r*cos, ir.cy + r*sin
}

// planar returns the point of the iris plane at (theta, rho); rho in [0, 1].
func (ir *iris) planar(theta, rho float64) (x, y float64) {
	sin, cos := math.Sincos(theta)
	r := ir.edge(cos, sin)
	r += rho * (ir.root - r)
	return ir.cx*(1-rho) + r*cos, ir.cy*(1-rho) + r*sin
}

// polar inverts planar; rho is below 0 inside the pupil and above 1 past the root.
func (ir *iris) polar(x, y float64) (theta, rho float64) {
	rho = (math.Sqrt(x*x+y*y) - ir.pupil) / (ir.root - ir.pupil)
	for range 60 {
		k := 1 - min(1, max(0, rho))
		qx, qy := x-ir.cx*k, y-ir.cy*k
		q := math.Sqrt(qx*qx + qy*qy)
		e := ir.pupil
		if q > 0 {
			e = ir.edge(qx/q, qy/q)
		}
		next := (q - e) / (ir.root - e)
		if math.Abs(next-rho) < 1e-7 {
			return math.Atan2(qy, qx), next
		}
		rho = next
	}
	k := 1 - min(1, max(0, rho))
	return math.Atan2(y-ir.cy*k, x-ir.cx*k), rho
}

// front returns the height of the iris front at a point of its plane with coordinate rho, without the rounding of
// the margin: a shallow dome toward the pupil that carries the relief.
func (ir *iris) front(x, y, rho float64) float64 {
	c := min(1, max(0, rho))
	z := ir.z - ir.convexity*c*c*(3-2*c)
	if ir.tissue != nil {
		// The root is smooth, so that the wall above it is.
		z += ir.relief * ir.tissue.height(x, y) * (1 - geom.Smoothstep(0.92, 1.02, rho))
	}
	return z
}

// row is one ring of the inner shell between pit and sclera.
type row struct {
	d    float64 // distance from the margin, mm, where rho is 0
	rho  float64 // in place of d
	drop float64 // below the front surface, mm
	n    int     // vertices
}

// rows returns the rings from the edge of the margin to the root, then up the wall (rho above 1, 2 at the lip, which
// is left out).
func (ir *iris) rows(edge float64, n int) []row {
	rs := []row{{drop: marginRound + marginEdge, n: n}, {drop: marginRound + 0.4*marginEdge, n: n}}
	arcs := max(4, int(math.Ceil(marginRound*math.Pi/2/edge)))
	for i := range arcs + 1 {
		sin, cos := math.Sincos(math.Pi / 2 * float64(i) / float64(arcs))
		rs = append(rs, row{d: marginRound * (1 - cos), drop: marginRound * (1 - sin), n: n})
	}
	// Where the iris is narrowest the first ring still lies outside the rounding; where it is widest steps are fine enough.
	width := ir.root - ir.least()
	first := marginRound / (ir.root - 1.05*ir.reach() - math.Hypot(ir.cx, ir.cy))
	if ir.shape == Round {
		first = marginRound / width
	}
	steps := max(8, int(math.Ceil((width-marginRound)/(0.6*edge))))
	for i := 1; i <= steps; i++ {
		rs = append(rs, row{rho: first + (1-first)*float64(i)/float64(steps), n: n})
	}
	for rho, step := 1.0, 0.6*edge/(ir.lip-ir.root); ; {
		step = min(step*1.12, 0.06)
		rho += step
		if rho > 2-0.5*step {
			return rs
		}
		if rho > 1.25 && rho < 1.25+step || rho > 1.6 && rho < 1.6+step {
			n /= 2
		}
		rs = append(rs, row{rho: rho, n: n})
	}
}

// at returns the inner shell's point on a row.
// fullRelief is the relief (mm) from which on the ruff's beads have their full size.
const fullRelief = 0.1

func (s *shells) at(rw row, theta float64) geom.Vec {
	ir := s.ir
	if rw.rho <= 1 {
		rho := rw.rho
		var x, y float64
		if rho == 0 {
			d := rw.d
			if ir.tissue != nil {
				d -= ir.tissue.pa.bulge(theta) * (1 - rw.d/marginRound) * min(1, ir.relief/fullRelief) // a plain iris has a plain margin
			}
			x, y = ir.margin(theta, d)
			sin, cos := math.Sincos(theta)
			rho = d / (ir.root - ir.edge(cos, sin))
		} else {
			x, y = ir.planar(theta, rho)
		}
		low := geom.Vec{X: x, Y: y, Z: ir.front(x, y, rho) - rw.drop}
		if r := math.Hypot(x, y); r > ir.wall.foot {
			return s.lifted(low, r, math.Atan2(y, x))
		}
		return low
	}
	r := ir.root + (rw.rho-1)*(ir.lip-ir.root)
	sin, cos := math.Sincos(theta)
	low := geom.Vec{X: r * cos, Y: r * sin}
	low.Z = ir.front(low.X, low.Y, rw.rho)
	return s.lifted(low, r, theta)
}

// lifted returns a point of the iris, r mm from the axis in the direction theta, as far up the wall as it lies there.
func (s *shells) lifted(low geom.Vec, r, theta float64) geom.Vec {
	p, nv := s.surface(s.prof.front(r), theta)
	return geom.Lerp(low, p.Mad(-s.p.ShellGap, nv), s.ir.wall.at(r))
}
