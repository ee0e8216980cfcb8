package eye

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"catchlight/scene/geom"
)

func TestZone(t *testing.T) {
	e := smallEye(t)
	for _, c := range []struct {
		name string
		p    geom.Vec
		want float64
	}{
		{"apex", geom.Vec{Z: 12.9}, 1},
		{"iris", geom.Vec{X: 3, Y: 2, Z: 9.3}, 1},
		{"inner end of the blend", geom.Vec{X: 5.25, Z: 10}, 1},
		{"middle of the blend", geom.Vec{Y: 5.85, Z: 10}, 0.5},
		{"outer end of the blend", geom.Vec{X: -6.45, Z: 10}, 0},
		{"equator", geom.Vec{X: 12}, 0},
		{"back pole", geom.Vec{Z: -12}, 0},
		{"behind, on the axis", geom.Vec{Z: -1}, 0},
	} {
		if got := e.Zone(c.p); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: %g, want %g", c.name, got, c.want)
		}
	}
	// Its gradient, which the wobble uses, against finite differences.
	const h = 1e-6
	for i := range 200 {
		a := float64(i)
		r := 5 + 1.6*math.Mod(a*0.618, 1)
		p := geom.Vec{X: r * math.Cos(a), Y: r * math.Sin(a), Z: 0.5 + 10*math.Mod(a*0.37, 1)}
		_, g := e.chart.zone(p)
		for k, d := range []geom.Vec{{X: h}, {Y: h}, {Z: h}} {
			fd := (e.Zone(p.Add(d)) - e.Zone(p.Sub(d))) / (2 * h)
			if math.Abs(fd-g.At(k)) > 1e-7 {
				t.Fatalf("gradient %v at %v, finite difference %g along axis %d", g, p, fd, k)
			}
		}
	}
}

// SurfaceUV is continuous in the volume: a step of a micrometre never moves it by more than a small multiple. The half
// axis behind the centre is left out, where all directions meet.
func TestSurfaceUVIsContinuous(t *testing.T) {
	e := smallEye(t)
	rng := rand.New(rand.NewPCG(3, 4))
	for range 200000 {
		p := geom.UniformSphere(rng.Float64(), rng.Float64()).Mul(13 * math.Cbrt(0.2+0.8*rng.Float64()))
		if p.Z < 0 && math.Hypot(p.X, p.Y) < 1 {
			continue
		}
		q := p.Mad(1e-3, geom.UniformSphere(rng.Float64(), rng.Float64()))
		a, b := e.SurfaceUV(p), e.SurfaceUV(q)
		if d := math.Hypot(a.U-b.U, a.V-b.V); d > 1e-3 {
			t.Fatalf("from %v to %v the map moves by %g", p, q, d)
		}
		if a.U < 0 || a.U > 1 || a.V < 0 || a.V > 1 {
			t.Fatalf("%v lands outside the map: %v", p, a)
		}
	}
}

// Along the meridian of the inner shell the map's radius only grows, is half of the map's at the limbus, and polar
// inverts it on the globe.
func TestChartIsOneToOne(t *testing.T) {
	p := Defaults()
	f := newProfile(&p)
	c := newChart(&p, f.apex-p.IrisDepth)
	last := -1.0
	for r := 0.0; r < 11.9; r += 0.01 {
		z, _, _ := f.at(r)
		rho := c.rho(r, z)
		if rho <= last {
			t.Fatalf("the map's radius falls at half chord %g mm", r)
		}
		last = rho
	}
	for phi := 1.3; phi < 3.1; phi += 0.01 {
		rho := c.rho(12*math.Sin(phi), 12*math.Cos(phi))
		if phi > 1.45 && rho <= last {
			t.Fatalf("the map's radius falls at %g rad", phi)
		}
		last = rho
		if sin, cos := c.polar(rho); math.Abs(sin-math.Sin(phi)) > 1e-9 || math.Abs(cos-math.Cos(phi)) > 1e-9 {
			t.Fatalf("polar(%g) = (%g, %g) at %g rad", rho, sin, cos, phi)
		}
	}
	// The map as a whole: u to the right, v down, and each point of the globe where polar says.
	for i := range 100 {
		rho, a := 0.26+0.23*float64(i)/100, float64(i)
		sin, cos := c.polar(rho)
		uv := c.uv(geom.Vec{X: 12 * sin * math.Cos(a), Y: 12 * sin * math.Sin(a), Z: 12 * cos})
		du, dv := uv.U-(0.5+rho*math.Cos(a)), uv.V-(0.5-rho*math.Sin(a))
		if math.Hypot(du, dv) > 1e-9 {
			t.Fatalf("rho %g, angle %g: off by (%g, %g)", rho, a, du, dv)
		}
	}
	if rho := c.rho(p.LimbusRadius, 10.5); math.Abs(rho-0.25) > 1e-12 {
		t.Errorf("limbus at %g of the map, want 0.25", rho)
	}
}

// Bad parameters are all named in one error; nothing is built.
func TestCheck(t *testing.T) {
	for _, c := range []struct {
		name string
		set  func(p *Params)
		want []string
	}{
		{"two at once", func(p *Params) { p.GlobeRadius, p.MapSize = 99, 1<<30 }, []string{"GlobeRadius: 99 is outside [5, 30] mm", "MapSize"}},
		{"not a number", func(p *Params) { p.IrisDepth = math.NaN() }, []string{"IrisDepth"}},
		{"infinite", func(p *Params) { p.WobbleSize = math.Inf(1) }, []string{"WobbleSize"}},
		{"steep wobble", func(p *Params) { p.WobbleSlopeCornea = 0.05 }, []string{"WobbleSlopeCornea: 0.05 is outside [0, 0.04]"}},
		{"pupil wider than the iris", func(p *Params) { p.PupilDiameter, p.LimbusRadius = 8, 4.8 }, []string{"PupilDiameter"}},
		{"cornea too curved", func(p *Params) { p.CorneaRadius, p.Asphericity = 5, 0.2 }, []string{"does not reach"}},
		{"cornea flatter than the globe", func(p *Params) { p.CorneaRadius = 15 }, []string{"flatter than the globe"}},
		{"iris at the cornea", func(p *Params) { p.IrisDepth = 2 }, []string{"between iris and cornea"}},
		{"coarse facets", func(p *Params) { p.MeshDetail = 2 }, []string{"MeshDetail", "ShellGap"}},
		{"pattern", func(p *Params) { p.Pattern.Crypts, p.Pattern.Ground[2] = 1000, -1 }, []string{"Pattern.Crypts", "Pattern.Ground[2]"}},
	} {
		p := Defaults()
		c.set(&p)
		e, err := Build(p)
		if err == nil || e != nil {
			t.Errorf("%s: built", c.name)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q does not say %q", c.name, err, w)
			}
		}
	}
	if _, err := Pattern("plaid"); err == nil || !strings.Contains(err.Error(), "grey-blue") {
		t.Errorf("unknown pattern: %v", err)
	}
	p := Defaults()
	if err := p.Check(); err != nil {
		t.Errorf("the defaults: %v", err)
	}
}

// FuzzCheck: any numbers are either refused or make a meridian and a chart of finite numbers.
func FuzzCheck(f *testing.F) {
	f.Add(12.0, 7.8, -0.26, 5.85, 1.2, 3.6, 3.5, 2.0, 0.02)
	f.Add(5.0, 3.5, 0.5, 2.5, 0.4, 1.5, 1.5, 0.5, 0.0)
	f.Add(30.0, 16.0, -0.9, 14.0, 2.5, 7.0, 8.0, 10.0, 0.1)
	f.Fuzz(func(t *testing.T, globe, cornea, q, limbus, width, depth, pupil, size, slope float64) {
		p := Defaults()
		p.GlobeRadius, p.CorneaRadius, p.Asphericity, p.LimbusRadius, p.LimbusWidth = globe, cornea, q, limbus, width
		p.IrisDepth, p.PupilDiameter, p.WobbleSize, p.WobbleSlopeCornea = depth, pupil, size, slope
		if p.Check() != nil {
			return
		}
		prof := newProfile(&p)
		c := newChart(&p, prof.apex-p.IrisDepth)
		for i := range 100 {
			r := globe * float64(i) / 100
			st := prof.front(r)
			rho := c.rho(st.r, st.z)
			if s := st.z + st.nr + st.nz + st.km + st.kp + rho; math.IsNaN(s) || math.IsInf(s, 0) || rho < 0 || rho > 0.5 {
				t.Fatalf("%+v: at half chord %g: %+v, rho %g", p, r, st, rho)
			}
		}
	})
}
