package eye

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// extremes are eyes at the ends of the ranges, coarse so that they build fast.
func extremes() map[string]Params {
	set := func(f func(p *Params)) Params {
		p := small()
		p.MapSize = 64
		f(&p)
		return p
	}
	return map[string]Params{
		"pinpoint, thin gap": set(func(p *Params) { p.PupilDiameter, p.IrisRelief, p.ShellGap = 1.5, 0.3, 0.016 }),
		"wide, wobbly": set(func(p *Params) {
			p.PupilDiameter, p.IrisRelief, p.PupilRagged = 8, 0.3, 0.02
			p.WobbleSize, p.WobbleSlopeCornea, p.WobbleSlopeSclera = 4, 0.04, 0.04
		}),
		"off side, long wave": set(func(p *Params) {
			p.PupilDiameter, p.PupilOffset = 5, [2]float64{-0.6, 0.6}
			p.WobbleSize, p.WobbleSlopeCornea, p.WobbleSlopeSclera = 10, 0.05, 0.1
		}),
		"slit":    set(func(p *Params) { p.PupilShape, p.PupilAspect, p.PupilDiameter = Slit, 8, 8 }),
		"bar":     set(func(p *Params) { p.PupilShape, p.PupilAspect, p.PupilDiameter, p.IrisRelief = Bar, 2.5, 7.5, 0.3 }),
		"shallow": set(func(p *Params) { p.IrisDepth, p.IrisConvexity, p.PupilDiameter = 2.9, 0, 3 }),
		"newborn": set(func(p *Params) {
			p.GlobeRadius, p.CorneaRadius, p.LimbusRadius, p.IrisDepth, p.PupilDiameter = 8.4, 6.6, 5, 2.9, 2.5
		}),
		"round, no relief": set(func(p *Params) { p.Asphericity, p.IrisRelief, p.IrisConvexity, p.PupilRagged = 0, 0, 0, 0 }),
	}
}

// reach returns how far a shell that is star-shaped about the origin extends along a direction, by the triangle that
// the ray from the origin meets. Triangles are found through cells of direction.
type reach struct {
	m     *mesh.Mesh
	cells map[[2]int][]int
}

const cell = 0.1 // rad

func newReach(m *mesh.Mesh) *reach {
	r := &reach{m: m, cells: map[[2]int][]int{}}
	for i, tr := range m.Tri {
		lo, hi := [3]float64{2, 2, 2}, [3]float64{-2, -2, -2}
		for _, v := range tr {
			d := m.P[v].Unit()
			for k := range 3 {
				lo[k], hi[k] = min(lo[k], d.At(k)-0.01), max(hi[k], d.At(k)+0.01) // a face bulges a little past its corners' directions
			}
		}
		for x := int(math.Floor(lo[0] / cell)); x <= int(math.Floor(hi[0]/cell)); x++ {
			for y := int(math.Floor(lo[1] / cell)); y <= int(math.Floor(hi[1]/cell)); y++ {
				r.cells[[2]int{x, y}] = append(r.cells[[2]int{x, y}], i)
			}
		}
	}
	return r
}

// at returns the distance along the unit direction d, or 0 where no triangle is met.
func (r *reach) at(d geom.Vec) float64 {
	for _, i := range r.cells[[2]int{int(math.Floor(d.X / cell)), int(math.Floor(d.Y / cell))}] {
		a, b, c := r.m.P[r.m.Tri[i][0]], r.m.P[r.m.Tri[i][1]], r.m.P[r.m.Tri[i][2]]
		e, f := b.Sub(a), c.Sub(a)
		h := d.Cross(f)
		det := e.Dot(h)
		if math.Abs(det) < 1e-14 {
			continue
		}
		s := a.Neg()
		u := s.Dot(h) / det
		q := s.Cross(e)
		v := d.Dot(q) / det
		t := f.Dot(q) / det
		if u >= -1e-9 && v >= -1e-9 && u+v <= 1+1e-9 && t > 0 {
			return t
		}
	}
	return 0
}

func TestShellsNeverCross(t *testing.T) {
	for name, p := range extremes() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			e, err := Build(p)
			if err != nil {
				t.Fatal(err)
			}
			requireClosed(t, "outer", e.Outer)
			requireClosed(t, "inner", e.Inner)
			out := newReach(e.Outer)
			least, at := math.Inf(1), geom.Vec{}
			look := func(q geom.Vec) {
				l := q.Len()
				if l < 1 {
					return
				}
				o := out.at(q.Mul(1 / l))
				if o == 0 {
					t.Fatalf("no outer shell in the direction of %v", q)
				}
				if o-l < least {
					least, at = o-l, q
				}
			}
			for _, tr := range e.Inner.Tri {
				a, b, c := e.Inner.P[tr[0]], e.Inner.P[tr[1]], e.Inner.P[tr[2]]
				look(a)
				look(geom.Lerp(a, b, 0.5))
				look(geom.Mix(a, b, c, 1.0/3, 1.0/3))
			}
			if least < 0.3*p.ShellGap {
				t.Errorf("the inner shell comes within %.4f mm of the outer at %v, gap %g mm", least, at, p.ShellGap)
			}
		})
	}
}

// Every point of the default cornea inside the blend satisfies the conic section's own equation,
// r^2 + (1+Q) s^2 - 2 R s = 0.
func TestCorneaIsTheConic(t *testing.T) {
	p := small()
	p.WobbleSlopeCornea, p.WobbleSlopeSclera = 0, 0
	e, err := Build(p)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, q := range e.Outer.P {
		r2 := q.X*q.X + q.Y*q.Y
		if q.Z < 0 || r2 > 5.25*5.25 {
			continue
		}
		n++
		s := e.ApexZ - q.Z
		if d := r2 + (1+p.Asphericity)*s*s - 2*p.CorneaRadius*s; math.Abs(d) > 1e-9 {
			t.Fatalf("at %v the conic's equation reads %g mm^2", q, d)
		}
	}
	if n < 100 {
		t.Fatalf("only %d vertices on the cornea", n)
	}
	// A quadric fitted to the inner 6 mm gives back the radius, as a topographer would.
	if r, q := fitConic(e.Outer, 3); math.Abs(r-7.8) > 1e-6 || math.Abs(q+0.26) > 1e-5 {
		t.Errorf("fitted radius %g mm and asphericity %g, want 7.8 and -0.26", r, q)
	}
	// With the default wobble the radius stays that of an eye: within 1 %.
	if r, _ := fitConic(smallEye(t).Outer, 3); math.Abs(r-7.8) > 0.08 {
		t.Errorf("fitted radius with wobble %g mm, want 7.8 within 0.08", r)
	}
}

// fitConic fits r^2 = 2 R s - (1+Q) s^2 + c to the front vertices within half chord rmax, by least squares.
func fitConic(m *mesh.Mesh, rmax float64) (radius, q float64) {
	top := 0.0
	for _, p := range m.P {
		top = max(top, p.Z)
	}
	var a [3][4]float64
	for _, p := range m.P {
		r2 := p.X*p.X + p.Y*p.Y
		if p.Z < 0 || r2 > rmax*rmax {
			continue
		}
		s := top - p.Z
		row := [4]float64{2 * s, -s * s, 1, r2}
		for i := range 3 {
			for j := range 4 {
				a[i][j] += row[i] * row[j]
			}
		}
	}
	for i := range 3 {
		for k := range 3 {
			if k == i {
				continue
			}
			f := a[k][i] / a[i][i]
			for j := range 4 {
				a[k][j] -= f * a[i][j]
			}
		}
	}
	return a[0][3] / a[0][0], a[1][3]/a[1][1] - 1
}

// Sagittal heights of conics of schematic eyes, from the conic section solved for s, s = (R - sqrt(R^2 - (1+Q) r^2))/(1+Q)
// (r^2 = 2 R s - s^2 for a sphere). Radii: Navarro et al., JOSA A 2 (1985), 1273; Liou and Brennan, JOSA A 14 (1997),
// 1684; Le Grand and El Hage, Physiological Optics (1980). Values: own computation to 4 places.
func TestSagAgainstClosedForm(t *testing.T) {
	for _, c := range []struct {
		radius, q, chord, want float64
	}{
		{7.72, -0.26, 10, 1.7692},
		{7.77, -0.18, 10, 1.7750},
		{7.80, 0, 10, 1.8133},
		{7.80, -0.26, 11.7, 2.4872},
		{7.80, 0, 11.7, 2.6408},
		{7.80, -0.26, 12, 2.6377},
	} {
		f := profile{radius: c.radius, q1: 1 + c.q}
		if got := f.sag(c.chord / 2); math.Abs(got-c.want) > 6e-5 {
			t.Errorf("sag of R %g mm, Q %g at chord %g mm: %.5f, want %.4f", c.radius, c.q, c.chord, got, c.want)
		}
	}
	// Two circles joined at half chord 5.85: the apex stands sqrt(R^2 - r^2) + sag - R before the globe. Blending slopes
	// about that chord moves it little.
	if got, want := smallEye(t).ApexZ-12, math.Sqrt(144-5.85*5.85)+2.4872-12; math.Abs(got-want) > 0.01 {
		t.Errorf("apex %g mm before the globe, want %g within 0.01", got, want)
	}
}

// Meridian and its derivatives are continuous: finite differences against the stated slope and curvature.
func TestMeridianIsSmooth(t *testing.T) {
	p := Defaults()
	f := newProfile(&p)
	const h = 1e-4
	var rs []float64
	for r := 0.01; r < 9; r += 0.0137 {
		rs = append(rs, r)
	}
	for _, r := range append(rs, f.a, f.b) {
		z0, a0, _ := f.at(r - h)
		_, d1, d2 := f.at(r)
		z1, a1, _ := f.at(r + h)
		if got := (z1 - z0) / (2 * h); math.Abs(got-d1) > 1e-6 {
			t.Fatalf("slope at %g mm: %g, finite difference %g", r, d1, got)
		}
		// Curvature itself bends at the ends of the blend, so its difference there is of first order in h.
		if got := (a1 - a0) / (2 * h); math.Abs(got-d2) > 2e-4 {
			t.Fatalf("second derivative at %g mm: %g, finite difference %g", r, d2, got)
		}
	}
}

// Normals of the wobbling surface agree with the cross product of finite differences along meridian and parallel.
func TestNormalsAgainstFiniteDifferences(t *testing.T) {
	p := Defaults()
	p.WobbleSlopeCornea, p.WobbleSlopeSclera = 0.02, 0.02
	f := newProfile(&p)
	c := newChart(&p, f.apex-p.IrisDepth)
	s := &shells{p: &p, prof: f, w: newWobble(&p, c, f)}
	const h = 1e-5
	worst, tilt := 0.0, 0.0
	for i := range 600 {
		u := float64(i) / 600
		theta := 40 * u
		st := func(d float64) station { return f.front(0.05 + 9*u + d) }
		if i%2 == 1 {
			st = func(d float64) station { return f.sphere(0.7 + 2.3*u + d) }
		}
		_, n := s.surface(st(0), theta)
		a0, _ := s.surface(st(-h), theta)
		a1, _ := s.surface(st(h), theta)
		b0, _ := s.surface(st(0), theta-h)
		b1, _ := s.surface(st(0), theta+h)
		want := a1.Sub(a0).Cross(b1.Sub(b0)).Unit()
		worst = max(worst, n.Sub(want).Len())
		s0 := st(0)
		sin, cos := math.Sincos(theta)
		tilt = max(tilt, n.Sub(geom.Vec{X: s0.nr * cos, Y: s0.nr * sin, Z: s0.nz}).Len())
	}
	if worst > 2e-6 {
		t.Errorf("normals depart from finite differences by up to %g", worst)
	}
	if tilt < 0.02 {
		t.Errorf("wobble tilts normals by %g at most: this test sees no wobble", tilt)
	}
}

// Normals of both meshes are of unit length and leave the faces about them; those of the relief are the faces' own.
func TestMeshNormals(t *testing.T) {
	e := smallEye(t)
	for name, m := range map[string]*mesh.Mesh{"outer": e.Outer, "inner": e.Inner} {
		bad := 0
		for _, tr := range m.Tri {
			a, b, c := m.P[tr[0]], m.P[tr[1]], m.P[tr[2]]
			f := b.Sub(a).Cross(c.Sub(a)).Unit()
			sum := m.N[tr[0]].Add(m.N[tr[1]]).Add(m.N[tr[2]])
			if f.Dot(sum) <= 0 {
				bad++
			}
		}
		if bad > 0 {
			t.Errorf("%s: %d of %d faces look away from their normals", name, bad, len(m.Tri))
		}
		for i, n := range m.N {
			if math.Abs(n.Len()-1) > 1e-9 {
				t.Fatalf("%s: normal %d has length %g", name, i, n.Len())
			}
		}
	}
}

// The slope that is asked for is the slope that comes out, from the mesh's normals, over the cornea and the sclera.
func TestWobbleSlope(t *testing.T) {
	p := small()
	p.MeshDetail = 0.25
	p.WobbleSlopeCornea, p.WobbleSlopeSclera = 0.006, 0.018
	f := newProfile(&p)
	c := newChart(&p, f.apex-p.IrisDepth)
	s := &shells{p: &p, prof: f, w: newWobble(&p, c, f)}
	measure := func(r0, r1 float64) float64 {
		sum, n := 0.0, 0.0
		for r := r0; r < r1; r += 0.11 {
			for k := range 90 {
				theta := float64(k) * 2 * math.Pi / 90
				st := f.front(r)
				_, got := s.surface(st, theta)
				sin, cos := math.Sincos(theta)
				g := got.Dot(geom.Vec{X: st.nr * cos, Y: st.nr * sin, Z: st.nz})
				sum += r * (1/(g*g) - 1) // squared slope, weighted by area
				n += r
			}
		}
		return math.Sqrt(sum / n)
	}
	for _, z := range []struct {
		name             string
		r0, r1, want, in float64
	}{{"cornea", 0.05, 5.2, 0.006, 0.0008}, {"sclera", 6.5, 11.5, 0.018, 0.0025}} {
		if got := measure(z.r0, z.r1); math.Abs(got-z.want) > z.in {
			t.Errorf("%s: slope %.4f rms, want %g within %g", z.name, got, z.want, z.in)
		}
	}
}

// A flat iris is flat: known answers for light on the iris plane rest on that.
func TestFlatIris(t *testing.T) {
	p := small()
	p.IrisRelief, p.IrisConvexity, p.PupilClosed = 0, 0, true
	e, err := Build(p)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for i, q := range e.Inner.P {
		if q.Z > 0 && math.Hypot(q.X, q.Y) < e.iris.wall.foot-1e-9 {
			n++
			if math.Abs(q.Z-e.IrisZ) > 1e-12 {
				t.Fatalf("vertex %d at %v is not at the depth of the iris, %g", i, q, e.IrisZ)
			}
		}
	}
	if n < 1000 || math.Abs(e.ApexZ-e.IrisZ-p.IrisDepth) > 1e-12 {
		t.Errorf("%d vertices; apex %g, iris %g", n, e.ApexZ, e.IrisZ)
	}
}

// Relief between the 5th and the 95th percentile of the front is what was asked for, within a tenth or so.
func TestRelief(t *testing.T) {
	p := Defaults()
	p.MeshDetail, p.MapSize, p.IrisConvexity, p.IrisRelief = 0.3, 128, 0, 0.2
	e, err := Build(p)
	if err != nil {
		t.Fatal(err)
	}
	var z []float64
	for _, q := range e.Inner.P {
		if r := math.Hypot(q.X, q.Y); q.Z > e.IrisZ-0.5 && r > 2.3 && r < 4.9 {
			z = append(z, q.Z)
		}
	}
	lo, hi := percentile(z, 0.05), percentile(z, 0.95)
	if hi-lo < 0.14 || hi-lo > 0.24 {
		t.Errorf("relief %.3f mm, want about 0.2", hi-lo)
	}
}

// Backing is the pit and nothing else: it faces the pupil, behind the iris.
func TestPitAbsorbs(t *testing.T) {
	e := smallEye(t)
	n := 0
	for i, tr := range e.Inner.Tri {
		if e.Inner.Part[i] != mesh.Backing {
			continue
		}
		n++
		for _, v := range tr {
			q := e.Inner.P[v]
			if r := math.Hypot(q.X, q.Y); r > 3 || q.Z > e.IrisZ || q.Z < e.IrisZ-2 {
				t.Fatalf("absorbing triangle %d at %v", i, q)
			}
		}
	}
	if n == 0 {
		t.Error("nothing absorbs")
	}
}

// Sizes of the default eye against published ranges.
func TestSizesAgainstAnatomy(t *testing.T) {
	e := smallEye(t)
	b := e.Outer.Bounds().Size()
	// Transverse 21 to 27 mm: Bekerman et al., J. Ophthalmol. 2014:503645.
	if b.X < 21 || b.X > 27 {
		t.Errorf("transverse diameter %g mm", b.X)
	}
	// Cornea to retina 23.95 to 24.39 mm (Liou and Brennan 1997, Gullstrand 1909): our axis less the posterior sclera,
	// 0.94 +- 0.18 mm (Vurgese et al., PLoS ONE 7 (2012), e29692).
	if l := e.AxialLength - 0.94; l < 23.95-0.18 || l > 24.39+0.18 {
		t.Errorf("axial length to the retina %g mm", l)
	}
}

func percentile(v []float64, f float64) float64 {
	s := append([]float64(nil), v...)
	slices.Sort(s)
	return s[int(f*float64(len(s)-1))]
}

func ExampleBuild() {
	p := Defaults()
	p.PupilDiameter, p.MeshDetail, p.MapSize = 2.5, 0.5, 256
	e, err := Build(p)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("apex %.1f mm, iris %.1f mm, zone on the axis %.0f\n", e.ApexZ, e.IrisZ, e.Zone(geom.Vec{Z: e.IrisZ}))
	// Output: apex 13.0 mm, iris 9.4 mm, zone on the axis 1
}
