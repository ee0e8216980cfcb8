package camera

import (
	"math"
	"strings"
	"testing"

	"catchlight/scene/geom"
)

func base() Config {
	return Config{Width: 640, Height: 480, Position: geom.Vec{Z: 1000}, Up: geom.Vec{Y: 1}, FocalLength: 100, SensorWidth: 36}
}

func prepare(t *testing.T, c Config) Camera {
	t.Helper()
	k, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func near(t *testing.T, what string, got, want geom.Vec, tolerance float64) {
	t.Helper()
	if !(got.Sub(want).Len() <= tolerance) {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// Handedness: from +Z the right half of the picture is +X and the top rows are +Y.
func TestOrientation(t *testing.T) {
	k := prepare(t, base())
	_, d, w := k.Ray(320, 240, 0.5, 0.5)
	near(t, "axis", d, geom.Vec{Z: -1}, 1e-15)
	if w != 1 {
		t.Errorf("weight %v", w)
	}
	if _, d, _ = k.Ray(600, 240, 0, 0); !(d.X > 0 && math.Abs(d.Y) < 1e-15) {
		t.Errorf("right of the picture looks along %v", d)
	}
	if _, d, _ = k.Ray(320, 0, 0, 0); !(d.Y > 0 && math.Abs(d.X) < 1e-15) {
		t.Errorf("top of the picture looks along %v", d)
	}
}

func TestOrbit(t *testing.T) {
	aim := geom.Vec{X: 1, Y: 2, Z: 3}
	near(t, "front", Orbit(aim, 0, 0, 10), geom.Vec{X: 1, Y: 2, Z: 13}, 1e-12)
	near(t, "azimuth", Orbit(aim, math.Pi/2, 0, 10), geom.Vec{X: 11, Y: 2, Z: 3}, 1e-12)
	near(t, "elevation", Orbit(aim, 1.1, math.Pi/2, 10), geom.Vec{X: 1, Y: 12, Z: 3}, 1e-12)
}

// The field of view: a 100 mm lens on 36 mm sees 360 mm at 1 m (similar triangles); 90 degrees sees twice the distance.
func TestFieldOfView(t *testing.T) {
	k := prepare(t, base())
	_, d, _ := k.Ray(640, 240, 0, 0)
	near(t, "100 mm on 36 mm", d.Mul(1000/-d.Z), geom.Vec{X: 180, Z: -1000}, 1e-9)
	c := base()
	c.FOV = math.Pi / 2
	k = prepare(t, c)
	_, d, _ = k.Ray(0, 240, 0, 0)
	near(t, "90 degrees", d.Mul(1000/-d.Z), geom.Vec{X: -1000, Z: -1000}, 1e-9)
	width, spread := k.PixelSpread()
	if width != 0 || math.Abs(spread-2.0/640) > 1e-15 {
		t.Errorf("pixel spread %v %v", width, spread)
	}
}

// Thin lens: rays of one film position meet in the sharp plane, and a point at distance z blurs to a circle whose
// diameter, on the sharp plane, is A |s - z| / z (similar triangles).
func TestThinLens(t *testing.T) {
	c := base()
	c.FNumber, c.Focus = 2.8, 400
	k := prepare(t, c)
	radius, focus := k.Lens()
	if math.Abs(radius-100/2.8/2) > 1e-12 || focus != 400 {
		t.Fatalf("lens %v, focus %v", radius, focus)
	}
	o0, d0, _ := k.Ray(100, 77, 0.5, 0.5)
	sharp := o0.Mad(400/-d0.Z, d0)
	worst := 0.0
	for i := 0; i < 100; i++ {
		u0, u1 := float64(i%10)/10, float64(i/10)/10
		o, d, _ := k.Ray(100, 77, u0, u1)
		near(t, "unit direction", geom.Vec{X: d.Len()}, geom.Vec{X: 1}, 1e-14)
		near(t, "in the sharp plane", o.Mad(400/-d.Z, d), sharp, 1e-9)
		if r := o.Sub(c.Position).Len(); r > radius+1e-12 || o.Z != 1000 {
			t.Errorf("lens point %v", o)
		}
		// Back at 250 mm the bundle is as wide as the aperture times (400 - 250) / 400.
		middle := o0.Mad(250/-d0.Z, d0)
		worst = max(worst, o.Mad(250/-d.Z, d).Sub(middle).Len())
	}
	if want := radius * 150 / 400; math.Abs(worst-want) > 0.02*want {
		t.Errorf("blur radius %v, want %v", worst, want)
	}
	c = base()
	c.Aperture = 7
	if k = prepare(t, c); k.lens != 3.5 || k.focus != 1000 {
		t.Errorf("aperture 7 mm focused on the aim: radius %v, focus %v", k.lens, k.focus)
	}
}

// Project undoes Ray for every kind, with shift and a tilted camera.
func TestProject(t *testing.T) {
	for _, kind := range []Kind{Perspective, Orthographic, Plate} {
		c := base()
		c.Kind, c.FrameWidth, c.Normal = kind, 25, geom.Vec{X: 0.3, Y: 1, Z: 2}
		c.Aim = geom.Vec{X: 3, Y: -2, Z: 8}
		c.Position = Orbit(c.Aim, 0.7, -0.4, 300)
		c.Up = geom.Vec{X: 0.2, Y: 1, Z: 0.1}
		c.Shift = [2]float64{0.2, -0.1}
		k := prepare(t, c)
		for _, f := range [][2]float64{{0, 0}, {320, 240}, {13.25, 471.5}, {640, 480}} {
			o, d, _ := k.Ray(f[0], f[1], 0.5, 0.5)
			px, py, depth, ok := k.Project(o.Mad(123, d))
			if !ok || math.Hypot(px-f[0], py-f[1]) > 1e-6 || !(depth > 0 && depth <= 123+1e-9) {
				t.Errorf("kind %d, film %v: back at %v %v, depth %v, %v", kind, f, px, py, depth, ok)
			}
		}
		if _, _, _, ok := k.Project(k.eye.Mad(map[Kind]float64{Plate: -1}[kind]*2+1, k.frame.N)); ok {
			t.Errorf("kind %d sees a point behind it", kind)
		}
		// Shift moves what is seen right and up: the aim leaves the middle by 0.2 widths and -0.1 heights.
		if kind != Plate {
			px, py, _, _ := k.Project(c.Aim)
			if math.Abs(px-640*0.7) > 1e-6 || math.Abs(py-480*0.6) > 1e-6 {
				t.Errorf("kind %d: aim at %v %v", kind, px, py)
			}
		}
	}
}

func TestOrthographic(t *testing.T) {
	c := base()
	c.Kind, c.FrameWidth = Orthographic, 32
	k := prepare(t, c)
	o, d, w := k.Ray(640, 0, 0.1, 0.9)
	near(t, "corner", o, geom.Vec{X: 16, Y: 12, Z: 1000}, 1e-12)
	near(t, "direction", d, geom.Vec{Z: -1}, 0)
	if width, spread := k.PixelSpread(); w != 1 || spread != 0 || math.Abs(width-0.05) > 1e-15 {
		t.Errorf("weight %v, width %v, spread %v", w, width, spread)
	}
}

// A plate under a uniform radiance L over the whole hemisphere receives pi L; under L only within angle a of its
// normal pi L sin^2 a; tilted away from a distant lamp in its horizon nothing. Closed forms (projected solid angle).
func TestPlate(t *testing.T) {
	c := Config{Kind: Plate, Width: 4, Height: 2, Aim: geom.Vec{Z: 5}, Up: geom.Vec{Y: 1}, Normal: geom.Vec{Z: 3}, FrameWidth: 8}
	k := prepare(t, c)
	o, _, _ := k.Ray(4, 0, 0.3, 0.3)
	near(t, "right top", o, geom.Vec{X: 4, Y: 2, Z: 5}, 1e-12)
	const n = 400
	a := math.Pi / 6 // its circle is a square of whole cells under the concentric map
	e, full := 0.0, 0.0
	for i := 0; i < n*n; i++ {
		_, d, w := k.Ray(1.5, 0.5, (float64(i%n)+0.5)/n, (float64(i/n)+0.5)/n)
		if d.Z < 0 {
			t.Fatalf("direction %v leaves through the back", d)
		}
		full += w / (n * n)
		if d.Z > math.Cos(a) {
			e += w / (n * n)
		}
	}
	if want := math.Pi * math.Pow(math.Sin(a), 2); math.Abs(e-want) > 1e-9 || math.Abs(full-math.Pi) > 1e-9 {
		t.Errorf("irradiance %v, want %v; full %v", e, want, full)
	}
}

// Errors say what is wrong, the value and the allowed range, and all of them at once.
func TestErrors(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Config)
		want   []string
	}{
		{"film", func(c *Config) { c.Width = 0; c.FocalLength = -1 }, []string{"0 x 480", "[1, 65536]", "focal length: -1"}},
		{"huge film", func(c *Config) { c.Height = 1 << 30 }, []string{"1073741824"}},
		{"up", func(c *Config) { c.Up = geom.Vec{Z: 5} }, []string{"up: {0 0 5}"}},
		{"no up", func(c *Config) { c.Up = geom.Vec{} }, []string{"up: {0 0 0}"}},
		{"aim", func(c *Config) { c.Position = c.Aim }, []string{"is the aim itself"}},
		{"NaN", func(c *Config) { c.Position.X = math.NaN() }, []string{"position: {NaN 0 1000}"}},
		{"fov", func(c *Config) { c.FOV = 4 }, []string{"field of view: 229.18"}},
		{"NaN fov", func(c *Config) { c.FOV = math.NaN() }, []string{"field of view: NaN"}},
		{"two apertures", func(c *Config) { c.FNumber, c.Aperture = 2, 3 }, []string{"both the f-number 2 and the diameter 3 mm"}},
		{"aperture", func(c *Config) { c.FNumber = math.Inf(1) }, []string{"f-number: +Inf"}},
		{"frame", func(c *Config) { c.Kind = Orthographic }, []string{"width of the picture: 0"}},
		{"normal", func(c *Config) { c.Kind, c.FrameWidth = Plate, 1 }, []string{"normal: {0 0 0} has no length"}},
		{"kind", func(c *Config) { c.Kind = 9 }, []string{"kind: 9"}},
		{"shift", func(c *Config) { c.Shift[1] = math.NaN() }, []string{"shift, up: NaN"}},
	} {
		d := base()
		c.change(&d)
		_, err := New(d)
		if err == nil {
			t.Errorf("%s: accepted", c.name)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q does not say %q", c.name, err, w)
			}
		}
	}
}

var sink float64

func BenchmarkRay(b *testing.B) {
	for _, lens := range []float64{0, 2.8} {
		c := base()
		c.FNumber = lens
		k, err := New(c)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(map[bool]string{true: "pinhole", false: "lens"}[lens == 0], func(b *testing.B) {
			x := 0.0
			for b.Loop() {
				_, d, _ := k.Ray(x, 100, 0.3, 0.8)
				sink += d.X
				x = math.Mod(x+1.25, 640)
			}
		})
	}
}
