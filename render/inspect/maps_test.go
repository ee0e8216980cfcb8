package inspect

import (
	"catchlight/scene/colour"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
)

const painted = 256

// paint makes a map of a shell from a colour (8-bit signal) by place, in the eye's own frame about its centre.
func paint(s *Subject, role Role, colour func(l geom.Vec) [3]float64) []uint8 {
	m := s.Part(role).Mesh
	pix := make([]uint8, 3*painted*painted)
	for i := range pix {
		pix[i] = 128
	}
	lay(m, func(x, y int, p geom.Vec) {
		c := colour(s.Eye.Frame.Local(p.Sub(s.Eye.Centre)))
		for k := range 3 {
			pix[3*(y*painted+x)+k] = uint8(math.Round(255 * min(1, max(0, c[k]))))
		}
	})
	return pix
}

// lay calls f for every texel that a mesh covers.
func lay(m *mesh.Mesh, f func(x, y int, p geom.Vec)) {
	for _, t := range m.Tri {
		a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
		det := (b.U-a.U)*(c.V-a.V) - (c.U-a.U)*(b.V-a.V)
		if det == 0 {
			continue
		}
		lo := func(a, b, c float64) int { return max(0, int(min(a, b, c)*painted)-1) }
		hi := func(a, b, c float64) int { return min(painted-1, int(max(a, b, c)*painted)+1) }
		for y := lo(a.V, b.V, c.V); y <= hi(a.V, b.V, c.V); y++ {
			for x := lo(a.U, b.U, c.U); x <= hi(a.U, b.U, c.U); x++ {
				u, v := (float64(x)+0.5)/painted-a.U, (float64(y)+0.5)/painted-a.V
				p := (u*(c.V-a.V) - v*(c.U-a.U)) / det
				q := (v*(b.U-a.U) - u*(b.V-a.V)) / det
				if e := -2.0 / painted; p < e || q < e || p+q > 1-e {
					continue
				}
				f(x, y, geom.Mix(m.P[t[0]], m.P[t[1]], m.P[t[2]], p, q))
			}
		}
	}
}

// good is the colour of an eye without faults: dark pupil, brown streaked iris, pale white. cx, cy move it on the shell.
func good(s *Subject, cx, cy, size float64) func(l geom.Vec) [3]float64 {
	limbus := s.Eye.Limbus.V * size
	return func(l geom.Vec) [3]float64 {
		x, y := l.X-cx, l.Y-cy
		rho, phi := math.Hypot(x, y), math.Atan2(y, x)
		switch {
		case l.Z < 0:
			return [3]float64{0.75, 0.7, 0.68}
		case rho < 0.28*limbus:
			return [3]float64{0.03, 0.03, 0.03}
		}
		iris := 0.42 + 0.06*math.Sin(40*phi) + 0.03*math.Sin(3*rho)
		reach := 0.06 * math.Sin(phi) * math.Sin(phi) // the white reaches in above and below
		w := min(1, max(0, (rho-(0.95-reach)*limbus)/(0.1*limbus)))
		mix := func(a, b float64) float64 { return a + w*(b-a) }
		return [3]float64{mix(iris, 0.78), mix(0.7*iris, 0.74), mix(0.45*iris, 0.72)}
	}
}

// withMaps is the licensed eye with maps that the caller adds to.
func withMaps(t *testing.T) *Subject {
	t.Helper()
	return read(t, Source{Asset: licensed})
}

func (s *Subject) lay(t *testing.T, key string, pix []uint8) *Map {
	t.Helper()
	file := filepath.Join(t.TempDir(), key+".png")
	require.NoError(t, imageio.WritePNG(file, painted, painted, 3, pix, nil))
	s.Maps = append(s.Maps, Map{Key: key, File: file, Role: Inner, Mid: 0.5, MM: 0.5})
	return &s.Maps[len(s.Maps)-1]
}

// look is a report of the maps alone.
func look(t *testing.T, s *Subject) *Report {
	t.Helper()
	r := &Run{Ctx: context.Background(), Subject: s, Limits: Builtin(), Shot: Shot{Across: 1024}, Workers: 2, PerMM: 1024 / (2 * s.Radius()), check: &mapChecks[0]}
	require.NoError(t, r.check.Run(r))
	return newReport(s, r)
}

func worst(rep *Report, code string) (s Severity) {
	for _, f := range rep.Of(code) {
		s = max(s, f.Severity)
	}
	return s
}

// bumps is a relief of random waves: height and slopes by texel, y down.
func bumps(seed uint64, amplitude float64) (h func(x, y float64) float64, slope func(x, y float64) (p, q float64)) {
	type wave struct{ a, kx, ky, phase float64 }
	rng := rand.New(rand.NewPCG(seed, 1))
	var list []wave
	for range 24 {
		k, phi := 2*math.Pi/(10+30*rng.Float64()), 2*math.Pi*rng.Float64()
		list = append(list, wave{amplitude / k / math.Sqrt(12), k * math.Cos(phi), k * math.Sin(phi), 2 * math.Pi * rng.Float64()})
	}
	h = func(x, y float64) (v float64) {
		for _, w := range list {
			v += w.a * math.Sin(w.kx*x+w.ky*y+w.phase)
		}
		return
	}
	slope = func(x, y float64) (p, q float64) {
		for _, w := range list {
			c := w.a * math.Cos(w.kx*x+w.ky*y+w.phase)
			p, q = p+w.kx*c, q+w.ky*c
		}
		return
	}
	return
}

// relief is a normal map of a relief; up +1: green up in the picture, -1 down; sign -1 turns it inside out.
func relief(amplitude, up, sign float64, levels int) []uint8 {
	_, slope := bumps(3, amplitude)
	pix := make([]uint8, 3*painted*painted)
	for y := range painted {
		for x := range painted {
			p, q := slope(float64(x), float64(y))
			n := geom.Vec{X: -sign * p, Y: up * sign * q, Z: 1}.Unit()
			for k, v := range [3]float64{n.X, n.Y, n.Z} {
				c := 255 * (v + 1) / 2
				if levels > 0 && k < 2 {
					c = 127.5 + math.Round((c-127.5)/float64(levels))*float64(levels)
				}
				pix[3*(y*painted+x)+k] = uint8(math.Round(c))
			}
		}
	}
	return pix
}

// Planted faults of maps are named, and the same map without the fault raises none of its code.
//
// Long: the table of faults, each with its map without the fault.
func TestPlantedMaps(t *testing.T) {
	s := withMaps(t)
	base := paint(s, Inner, good(s, 0, 0, 1))
	edit := func(f func(i int, c *[3]float64)) []uint8 {
		out := slices.Clone(base)
		for i := range len(out) / 3 {
			c := [3]float64{float64(out[3*i]) / 255, float64(out[3*i+1]) / 255, float64(out[3*i+2]) / 255}
			f(i, &c)
			for k := range 3 {
				out[3*i+k] = uint8(math.Round(255 * min(1, max(0, c[k]))))
			}
		}
		return out
	}
	limbus := s.Eye.Limbus.V
	with := func(spot func(l geom.Vec) bool, to [3]float64) []uint8 {
		g := good(s, 0, 0, 1)
		return paint(s, Inner, func(l geom.Vec) [3]float64 {
			if spot(l) {
				return to
			}
			return g(l)
		})
	}
	flat := relief(0.001, 1, 1, 0)
	for _, q := range []struct {
		name, code string
		key        string
		good, bad  []uint8
		least      Severity
		down       bool
	}{
		{"white twice decoded", "maps.albedo", "colour", base, edit(func(_ int, c *[3]float64) {
			for k := range c {
				c[k] = colour.DecodeSRGB(c[k])
			}
		}), Warning, false},
		{"white of paper", "maps.albedo", "colour", base, edit(func(_ int, c *[3]float64) {
			if c[2] > 0.6 {
				*c = [3]float64{1, 1, 1}
			}
		}), Error, false},
		{"catchlight", "maps.catchlight", "colour", base, with(func(l geom.Vec) bool { return l.Z > 0 && math.Hypot(l.X-0.3*limbus, l.Y-0.3*limbus) < 0.5 }, [3]float64{1, 1, 1}), Warning, false},
		{"small catchlight", "maps.catchlight", "colour", base, with(func(l geom.Vec) bool { return l.Z > 0 && math.Hypot(l.X-0.3*limbus, l.Y-0.3*limbus) < 0.25 }, [3]float64{0.95, 0.95, 1}), Warning, false},
		{"lid's shadow", "maps.shading", "colour", base, paint(s, Inner, func(l geom.Vec) [3]float64 {
			c := good(s, 0, 0, 1)(l)
			k := 1 - 0.25*min(1, max(0, l.Y/6))
			return [3]float64{k * c[0], k * c[1], k * c[2]}
		}), Warning, false},
		{"picture moved", "maps.limbus", "colour", base, paint(s, Inner, good(s, 0.5, 0.3, 1)), Warning, false},
		{"pupil moved", "maps.pupil", "colour", base, paint(s, Inner, good(s, 0.7, -0.3, 1)), Warning, false},
		{"iris too large", "maps.limbus", "colour", base, paint(s, Inner, good(s, 0, 0, 1.25)), Warning, false},
		{"green down", "maps.green", "iris.normal", relief(0.2, 1, 1, 0), relief(0.2, -1, 1, 0), Warning, false},
		{"green up read as down", "maps.green", "iris.normal", relief(0.2, -1, 1, 0), relief(0.2, 1, 1, 0), Warning, true},
		{"encoded normals", "maps.curve", "iris.normal", flat, curve(flat, colour.EncodeSRGB), Error, false},
		{"decoded normals", "maps.curve", "iris.normal", flat, curve(flat, colour.DecodeSRGB), Error, false},
		{"few levels", "maps.steps", "iris.normal", relief(0.2, 1, 1, 0), relief(0.2, 1, 1, 8), Warning, false},
		{"colour for normals", "maps.normal_length", "iris.normal", relief(0.2, 1, 1, 0), edit(func(int, *[3]float64) {}), Warning, false},
		{"leaning", "maps.lean", "iris.normal", relief(0.2, 1, 1, 0), leaning(relief(0.2, 1, 1, 0), 20), Warning, false},
		{"gloss", "maps.roughness", "cornea.roughness", grey(0.1), grey(0.9), Warning, false},
	} {
		for i, pix := range [][]uint8{q.good, q.bad} {
			s.Maps = nil
			if q.key == "colour" {
				s.lay(t, "iris.colour", pix)
				s.Maps = append(s.Maps, s.Maps[0])
				s.Maps[1].Key = "sclera.colour"
			} else {
				s.lay(t, q.key, pix).GreenDown = q.down
			}
			rep := look(t, s)
			if got := worst(rep, q.code); i == 0 {
				require.Equal(t, Fine, got, "%s, without the fault: %+v", q.name, rep.Of(q.code))
			} else {
				planted("map: "+q.name, q.code, q.least, rep, -1)
				require.GreaterOrEqual(t, got, q.least, "%s: %+v", q.name, rep.Of(q.code))
			}
			if i == 0 {
				for _, f := range rep.Findings {
					require.False(t, f.Group == Maps && f.Severity == Error, "%s, without the fault: %+v", q.name, f)
				}
			}
		}
	}
}

func curve(pix []uint8, f func(float64) float64) []uint8 {
	out := make([]uint8, len(pix))
	for i, v := range pix {
		out[i] = uint8(math.Round(255 * f(float64(v)/255)))
	}
	return out
}

func grey(v float64) []uint8 {
	out := make([]uint8, 3*painted*painted)
	for i := range out {
		out[i] = uint8(math.Round(255 * v))
	}
	return out
}

// leaning tilts all normals by some codes of red.
func leaning(pix []uint8, codes float64) []uint8 {
	out := slices.Clone(pix)
	for i := 0; i < len(out); i += 3 {
		v := unit([3]float64{(float64(out[i]) + codes) / 255, float64(out[i+1]) / 255, float64(out[i+2]) / 255})
		for k, c := range [3]float64{v.X, v.Y, v.Z} {
			out[i+k] = uint8(math.Round(255 * (c + 1) / 2))
		}
	}
	return out
}

// A picture that is moved off its mesh is told in mm and texels, with the key that moves it back; with that key nothing is left to find.
func TestKeyMovesThePicture(t *testing.T) {
	s := withMaps(t)
	s.Key = "objects.eye"
	s.Maps = nil
	s.lay(t, "iris.colour", paint(s, Inner, good(s, 0.5, -0.35, 1)))
	s.Maps = append(s.Maps, s.Maps[0])
	s.Maps[1].Key = "sclera.colour"
	require.NoError(t, s.MoveMaps([2]float64{}, 0, 1))
	rep := look(t, s)
	require.GreaterOrEqual(t, worst(rep, "maps.limbus"), Warning, "%+v", rep.Of("maps.limbus"))
	var key string
	for _, f := range rep.Of("maps.limbus") {
		if !f.Good {
			require.Contains(t, f.Remedy.Step, "texels")
			key = f.Remedy.Key
		}
	}
	var x, y float64
	_, err := fmt.Sscanf(key, "objects.eye.asset.maps_shift=[%g,%g]", &x, &y)
	require.NoError(t, err, key)
	require.InDelta(t, -0.5, x, 0.15) // the painted edge is a soft band
	require.InDelta(t, 0.35, y, 0.15)
	require.NoError(t, s.MoveMaps([2]float64{x, y}, 0, 1))
	rep = look(t, s)
	require.Equal(t, Fine, worst(rep, "maps.limbus"), "%+v", rep.Of("maps.limbus"))
	require.Equal(t, Fine, worst(rep, "maps.pupil"), "%+v", rep.Of("maps.pupil"))
}

// A normal map and a height map of one relief agree; turned inside out they do not.
func TestInsideOut(t *testing.T) {
	h, _ := bumps(3, 0.2)
	height := make([]uint16, painted*painted)
	for y := range painted {
		for x := range painted {
			height[y*painted+x] = uint16(32768 + 8000*h(float64(x), float64(y)))
		}
	}
	file := filepath.Join(t.TempDir(), "height.png")
	require.NoError(t, imageio.WritePNG16(file, painted, painted, 1, height, nil))
	s := withMaps(t)
	for sign, want := range map[float64]Severity{1: Fine, -1: Warning} {
		s.Maps = nil
		s.lay(t, "iris.normal", relief(0.2, 1, sign, 0))
		s.Maps = append(s.Maps, Map{Key: "iris.height", File: file, Role: Inner, Mid: 0.5, MM: 0.5})
		rep := look(t, s)
		require.GreaterOrEqual(t, worst(rep, "maps.inside_out"), want, "%+v", rep.Of("maps.inside_out"))
		require.Equal(t, want == Fine, rep.Of("maps.inside_out")[0].Good)
	}
}

// 16 bits that were 8 are told by their codes; true 16 bits are not.
func TestBitsNotUsed(t *testing.T) {
	s := withMaps(t)
	for step, want := range map[uint16]Severity{1: Fine, 257: Warning} {
		pix := make([]uint16, painted*painted)
		for i := range pix {
			pix[i] = uint16(i%256)*257 + uint16(i/7%256)/step
		}
		if step == 257 {
			for i := range pix {
				pix[i] -= pix[i] % 257
			}
		}
		file := filepath.Join(t.TempDir(), "height.png")
		require.NoError(t, imageio.WritePNG16(file, painted, painted, 1, pix, nil))
		s.Maps = []Map{{Key: "iris.height", File: file, Role: Inner, Mid: 0.5, MM: 2}}
		require.Equal(t, want, worst(look(t, s), "maps.depth"))
	}
}

// A file that is no picture is an error that says so, and the other maps are still looked at.
func TestBrokenMap(t *testing.T) {
	s := withMaps(t)
	file := filepath.Join(t.TempDir(), "iris.png")
	require.NoError(t, os.WriteFile(file, []byte("\x89PNG\r\n\x1a\nnothing"), 0o666))
	s.Maps = []Map{{Key: "iris.colour", File: file, Role: Inner}}
	s.lay(t, "iris.normal", relief(0.2, 1, 1, 0))
	rep := look(t, s)
	require.Equal(t, Error, worst(rep, "maps.broken"))
	require.Len(t, rep.Of("maps.green"), 1)
}

// Blocks hold what two ends hold exactly, and normals of a smooth relief within a degree.
func TestBlocks(t *testing.T) {
	var b [16][3]float64
	for i := range b {
		b[i] = [3]float64{1, float64(i % 2), 0}
	}
	require.Equal(t, b, blockColour(b))
	_, slope := bumps(5, 0.2)
	for i := range b {
		p, q := slope(float64(i%4), float64(i/4))
		n := geom.Vec{X: -p, Y: q, Z: 1}.Unit()
		b[i] = [3]float64{(n.X + 1) / 2, (n.Y + 1) / 2, (n.Z + 1) / 2}
	}
	for i, c := range blockNormal(b) {
		require.Less(t, math.Sqrt(off(b[i], c, true)), 1.5)
	}
}

// Means over squares lose of white noise what statistics say: a side of 2^k leaves 2^-k of its contrast.
func TestDetailOfNoise(t *testing.T) {
	w := &window{n: 256, v: make([][3]float64, 256*256)}
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range w.v {
		for k := range 3 {
			w.v[i][k] = rng.Float64()
		}
	}
	for k, v := range w.kept() {
		require.InEpsilon(t, math.Pow(2, -float64(k)), v, 0.02*math.Pow(1.6, float64(k)), "level %d", k)
	}
}
