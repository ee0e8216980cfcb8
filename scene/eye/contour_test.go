package eye

import (
	"math"
	"testing"

	"catchlight/scene/geom"
)

// Slits and bars are as long and as narrow as they are asked to be, relief and rings stay between contour and root, the
// shells are closed and the volume is that of the round pupil's within a little.
func TestPupilShapes(t *testing.T) {
	for _, c := range []struct {
		name   string
		shape  Pupil
		aspect float64
		long   float64
	}{{"slit", Slit, 6, 7}, {"bar", Bar, 3, 7}, {"nearly round bar", Bar, 1, 4}, {"hair-thin slit", Slit, 10, 6}} {
		p := small()
		p.LimbusRadius, p.LimbusWidth, p.PupilRagged = 6, 1, 0
		p.PupilShape, p.PupilAspect, p.PupilDiameter, p.PupilOffset = c.shape, c.aspect, c.long, [2]float64{}
		p.MapSize = 64
		e, err := Build(p)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		requireClosed(t, c.name, e.Inner)
		long, short := e.iris.contour(1, 0), e.iris.contour(0, 1)
		if c.shape == Slit {
			long, short = short, long
		}
		if math.Abs(2*long-c.long) > 1e-12 || math.Abs(2*short-c.long/c.aspect) > 1e-12 {
			t.Errorf("%s: %g by %g mm", c.name, 2*long, 2*short)
		}
		for i := range 200 {
			theta, rho := -3.1+6.2*float64(i)/200, math.Mod(float64(i)*0.618, 1)
			x, y := e.iris.planar(theta, rho)
			th, rh := e.iris.polar(x, y)
			if math.Abs(turn(th-theta)) > 1e-5 || math.Abs(rh-rho) > 1e-5 {
				t.Fatalf("%s: (%g, %g) comes back as (%g, %g)", c.name, theta, rho, th, rh)
			}
		}
	}
	if _, err := PupilShape("star"); err == nil {
		t.Error("a star is a pupil")
	}
}

// The area of a superellipse |x/a|^k + |y/b|^k = 1 is 4 a b Gamma(1+1/k)^2 / Gamma(1+2/k) (Lame curve, closed form).
func TestContourArea(t *testing.T) {
	for _, c := range []struct {
		shape Pupil
		k     float64
	}{{Slit, 1.6}, {Bar, 4}} {
		ir := iris{shape: c.shape, a: 2, b: 0.7}
		sum, n := 0.0, 200000
		for i := range n {
			sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / float64(n))
			r := ir.contour(cos, sin)
			sum += math.Pi * r * r / float64(n)
		}
		want := 4 * 2 * 0.7 * math.Pow(math.Gamma(1+1/c.k), 2) / math.Gamma(1+2/c.k)
		if math.Abs(sum-want) > 1e-4*want {
			t.Errorf("area %g, want %g", sum, want)
		}
	}
}

// Facets lie no farther inside the outline than asked: the sagitta of the mesh's own edges about the corneal apex.
func TestSilhouetteError(t *testing.T) {
	for _, want := range []float64{0.0005, 0.002} {
		p := small()
		p.WobbleSlopeCornea, p.WobbleSlopeSclera, p.MapSize = 0, 0, 64
		p.MeshDetail = DetailFor(want, p.CorneaRadius)
		e, err := Grow(p)
		if err != nil {
			t.Fatal(err)
		}
		f := newProfile(&p)
		worst := 0.0
		for _, tr := range e.Outer.Tri {
			for k := range 3 {
				m := e.Outer.P[tr[k]].Add(e.Outer.P[tr[(k+1)%3]]).Mul(0.5)
				if r := math.Hypot(m.X, m.Y); m.Z > 0 && r < 4.5 {
					z, d, _ := f.at(r)
					worst = max(worst, (z-m.Z)/math.Sqrt(1+d*d))
				}
			}
		}
		if worst > 1.3*want || worst < 0.3*want {
			t.Errorf("facets lie %g mm inside, %g asked for", worst, want)
		}
	}
}

// The map's density against closed forms: inside the limbus the plane of the iris is laid out as it is, share/(2 R) of the
// map's side a mm; on the sphere beyond, along and across follow from s = sin(phi/2), with the ratio dictated by the
// chart's own formula; at the limbus both sides agree, as the chart is smooth there along the globe.
func TestDistortion(t *testing.T) {
	e := smallEye(t)
	d := e.Distortion(2048)
	want := 2048 * 0.25 / 5.85
	if math.Abs(d[0].Along-want) > 1e-9 || math.Abs(d[0].Across-want) > 1e-9 {
		t.Errorf("on the axis %v, want %g texels a mm", d[0], want)
	}
	for i := 1; i < len(d); i++ {
		if d[i].Along > d[i-1].Along+1e-9 {
			t.Errorf("the density along the meridian rises from %v to %v", d[i-1], d[i])
		}
	}
	// The area of the map between limbus and back pole is what the densities add up to.
	sum := 0.0
	const n = 20000
	l := math.Asin(5.85 / 12)
	for i := range n {
		phi := l + (math.Pi-0.02-l)*(float64(i)+0.5)/n
		a, b := e.chart.scale(e.chart.radial(math.Cos(phi)))
		sum += 12 * 12 * 2 * math.Pi * math.Sin(phi) * (math.Pi - 0.02 - l) / n / (a * b)
	}
	rho := e.chart.radial(math.Cos(math.Pi - 0.02))
	if area := math.Pi * (rho*rho - 0.25*0.25); math.Abs(sum-area) > 2e-3*area {
		t.Errorf("the map's area is %g, its density adds up to %g", area, sum)
	}
}

// Sphere and cap by Archimedes: the area of the globe behind a height z is 2 pi R (R + z).
func TestGlobeArea(t *testing.T) {
	p := small()
	p.WobbleSlopeCornea, p.WobbleSlopeSclera, p.MeshDetail, p.MapSize = 0, 0, 0.25, 64
	e, err := Grow(p)
	if err != nil {
		t.Fatal(err)
	}
	const z = 6.0
	area := 0.0
	for _, tr := range e.Outer.Tri {
		a, b, c := e.Outer.P[tr[0]], e.Outer.P[tr[1]], e.Outer.P[tr[2]]
		if (a.Z+b.Z+c.Z)/3 < z {
			area += b.Sub(a).Cross(c.Sub(a)).Len() / 2
		}
	}
	if want := 2 * math.Pi * 12 * (12 + z); math.Abs(area-want) > 0.004*want {
		t.Errorf("area %g mm^2 behind z = 6, want %g", area, want)
	}
}

// A left eye is a right one's mirror image in what the side decides: vessels and patches lean to the other nose.
func TestSides(t *testing.T) {
	lean := func(left bool) (s float64) {
		p := small()
		p.Left, p.MapSize = left, 256
		e, err := Build(p)
		if err != nil {
			t.Fatal(err)
		}
		for _, y := range []float64{-3, 0, 3} {
			for _, x := range []float64{-9, 9} {
				c := look(e, e.Colour, geom.Vec{X: x, Y: y, Z: math.Sqrt(144 - x*x - y*y)})
				s += x * c[0] / c[2]
			}
		}
		return s
	}
	if r, l := lean(false), lean(true); r <= l {
		t.Errorf("redness leans %g toward +X in a right eye, %g in a left one", r, l)
	}
}
