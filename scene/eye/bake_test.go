package eye

import (
	"math"
	"os"
	"runtime"
	"sync"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// baked returns a whole map.
func baked(t testing.TB, e *Eye, k Kind, size int) []float32 {
	t.Helper()
	c := k.Channels()
	out := make([]float32, size*size*c)
	var mu sync.Mutex
	rows := 0
	if err := e.Bake(k, size, func(y int, v []float32) {
		copy(out[y*size*c:], v)
		mu.Lock()
		rows++
		mu.Unlock()
	}); err != nil {
		t.Fatal(err)
	}
	if rows != size {
		t.Fatalf("%s: %d rows of %d", k, rows, size)
	}
	return out
}

// Every map is within the range that its comment states.
func TestMapsInRange(t *testing.T) {
	e := paintedEye(t)
	for _, c := range []struct {
		k      Kind
		lo, hi float64
	}{{Colour, 0, 1}, {Height, -0.3, 0.3}, {Normal, -1, 1}, {Roughness, 0, 1}, {Occlusion, 0, 1}, {Convex, 0, 1000}, {Concave, 0, 1000},
		{Thickness, 0, 0.96}, {Zones, 0, ZoneCount - 1}, {Vessels, 0, 1}} {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, v := range baked(t, e, c.k, 192) {
			lo, hi = min(lo, float64(v)), max(hi, float64(v))
		}
		if !(lo >= c.lo && hi <= c.hi) || lo == hi {
			t.Errorf("%s: %g to %g", c.k, lo, hi)
		}
	}
	if err := e.Bake("mood", 64, nil); err == nil {
		t.Error("an unknown map is baked")
	}
	if err := e.Bake(Colour, 9000, nil); err == nil {
		t.Error("9000 pixels are baked")
	}
}

// grooved is a baker over a plane of 1/64 mm a texel with heights of our choice, inside the limbus where the map is the
// iris plane as it is.
func grooved(h func(x, y float64) float64) *baker {
	p := Defaults()
	c := newChart(&p, 9.4)
	const n = 513
	b := &baker{canvas: &canvas{c: c, n: n, zoom: n * c.perMM / 64}, height: make([]float32, n*n)}
	for y := range n {
		for x := range n {
			b.height[y*n+x] = float32(h(float64(x-n/2)/64, float64(n/2-y)/64))
		}
	}
	return b
}

// At the bottom of a groove with sides at 45 degrees 1/sqrt(2) of the sky is free: the form factor of a strip that spans
// 45 degrees either side is sin 45 (crossed strings: Hottel, 1954).
func TestOcclusionOfAGroove(t *testing.T) {
	b := grooved(func(x, _ float64) float64 { return math.Abs(x) })
	v := []float32{0}
	b.occlusion(b.n/2, b.n/2, v)
	if math.Abs(float64(v[0])-math.Sqrt2/2) > 0.01 {
		t.Errorf("%g of the sky is free, want %g", v[0], math.Sqrt2/2)
	}
	b = grooved(func(_, _ float64) float64 { return 0.1 })
	b.occlusion(b.n/2, b.n/2, v)
	if v[0] != 1 {
		t.Errorf("on a plane %g of the sky is free", v[0])
	}
}

// A paraboloid h = -k (x^2 + y^2)/2 has mean curvature k at its top; a plane's slope is its normal's.
func TestCurvatureAndNormal(t *testing.T) {
	b := grooved(func(x, y float64) float64 { return -3 * (x*x + y*y) / 2 })
	if k := b.curvature(b.n/2, b.n/2); math.Abs(k-3) > 0.01 {
		t.Errorf("curvature %g, want 3", k)
	}
	b = grooved(func(x, y float64) float64 { return 0.2*x - 0.1*y })
	v := make([]float32, 3)
	b.normal(b.n/2+40, b.n/2-20, v)
	n, want := geom.Vec{X: float64(v[0]), Y: float64(v[1]), Z: float64(v[2])}, geom.Vec{X: -0.2, Y: 0.1, Z: 1}.Unit()
	if n.Sub(want).Len() > 1e-4 {
		t.Errorf("normal %v, want %v", n, want)
	}
}

// The iris apart shows the same colours at more texels a mm, and its mesh finds them.
func TestIrisApart(t *testing.T) {
	e := paintedEye(t)
	const n = 256
	whole := baked(t, e, Zones, 2*n)
	apart := make([]float32, n*n)
	if err := e.BakeIris(Zones, n, func(y int, v []float32) { copy(apart[y*n:], v) }); err != nil {
		t.Fatal(err)
	}
	m := e.InnerApart()
	if open, odd := mesh.Closed(m); open+odd > 0 {
		t.Errorf("%d edges are open, %d odd", open, odd)
	}
	at := func(pix []float32, n int, u, v float64) float32 {
		return pix[min(n-1, int(v*float64(n)))*n+min(n-1, int(u*float64(n)))]
	}
	iris, same := 0, 0
	for i, q := range m.P {
		if m.UV[i].U <= 1 {
			continue
		}
		iris++
		uv := e.SurfaceUV(q)
		if at(apart, n, m.UV[i].U-1, m.UV[i].V) == at(whole, 2*n, uv.U, uv.V) {
			same++
		}
	}
	if iris < 1000 || float64(same) < 0.96*float64(iris) {
		t.Errorf("%d of %d vertices of the iris find their zone", same, iris)
	}
}

// The tile deviates by the angle asked for, and its edges join: the step across an edge is like any other.
func TestTile(t *testing.T) {
	const n = 256
	pix := make([]float32, 3*n*n)
	if err := Tile(n, 8, 4, 1.5, 7, func(y int, v []float32) { copy(pix[y*3*n:], v) }); err != nil {
		t.Fatal(err)
	}
	sum, inside, across := 0.0, 0.0, 0.0
	for i := 0; i < len(pix); i += 3 {
		s := math.Hypot(float64(pix[i]), float64(pix[i+1])) / float64(pix[i+2])
		sum += s * s / (n * n)
	}
	for y := range n {
		row := pix[y*3*n:]
		inside = max(inside, math.Abs(float64(row[3*100]-row[3*101])))
		across = max(across, math.Abs(float64(row[0]-row[3*(n-1)])))
	}
	if got := math.Atan(math.Sqrt(sum)) * 180 / math.Pi; math.Abs(got-1.5) > 0.005 {
		t.Errorf("deviates by %g degrees RMS, want 1.5", got)
	}
	if across > 2*inside {
		t.Errorf("a step of %g across the edge, %g inside", across, inside)
	}
	if err := Tile(n, 8, 40, 1.5, 7, nil); err == nil {
		t.Error("a wave longer than the tile is taken")
	}
}

// BenchmarkBake8192 bakes the colour at 8192 texels a side; run it once, with -benchtime 1x. It reports the memory taken
// from the system. A long benchmark: set CATCHLIGHT_LONG to run it.
func BenchmarkBake8192(b *testing.B) {
	if os.Getenv("CATCHLIGHT_LONG") == "" {
		b.Skip("long: set CATCHLIGHT_LONG")
	}
	p := Defaults()
	p.MapSize = 8192
	for b.Loop() {
		e, err := Grow(p)
		if err != nil {
			b.Fatal(err)
		}
		for _, k := range []Kind{Colour, Normal} {
			pix := make([]uint16, 3*8192*8192)
			if err := e.Bake(k, 8192, func(y int, v []float32) {
				for i := range v {
					pix[y*3*8192+i] = uint16(32767 + 32767*v[i])
				}
			}); err != nil {
				b.Fatal(err)
			}
		}
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		b.ReportMetric(float64(m.Sys)/1e9, "GB")
	}
}
