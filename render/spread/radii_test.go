package spread

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/material/tissue"
	"catchlight/render/pathtrace"
	"catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

const sun = "lights: [{name: sun, kind: distant, angle: 2, orbit: {azimuth: 40}, irradiance: 3}]\n"

func prepared(t *testing.T, text string) *prepare.Prepared {
	t.Helper()
	path := filepath.Join(t.TempDir(), "scene.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o666))
	d, err := scene.Load(path)
	require.NoError(t, err)
	p, err := prepare.Scene(context.Background(), d, prepare.Options{})
	require.NoError(t, err)
	return p
}

const halfSpaceScene = `
picture: {width: 4, height: 4}
camera: {kind: orthographic, orbit: {distance: 100}}
advanced: {max_depth: 65536}
` + sun + `
objects: [{name: slab, shape: slab, thickness: 1e6, material: {kind: dielectric, index: %g, roughness: 0, inside: {sigma_a: %g, sigma_s: %g}}}]
`

// depart measures the radii of a half space by the program's own paths.
func depart(t *testing.T, n, scatter, absorb float64, walks int) Radii {
	t.Helper()
	p := prepared(t, fmt.Sprintf(halfSpaceScene, n, absorb, scatter))
	parts := make([][]Exit, groups)
	parallel.With(groups, 2, func() *pathtrace.Tracer { return pathtrace.New(p.Scene, 1) }, func(tr *pathtrace.Tracer, g int) {
		w := twin{rng: rand.New(rand.NewPCG(uint64(g), 99))}
		for i := range walks / groups {
			d := w.cosine(geom.Vec{Z: -1})
			entered := false
			tr.Depart(geom.Ray{O: d.Mul(-1 / math.Abs(d.Z)), D: d}, uint64(g), uint32(i), func(from geom.Vec, q colour.RGB) {
				r := math.Hypot(from.X, from.Y)
				if entered = r > 1e-4; entered { // what is mirrored leaves where it came
					parts[g] = append(parts[g], Exit{r, q})
				}
			})
		}
	})
	return Pool(parts, walks)
}

// Radii in half spaces, with a step of the index and without, against the twin's.
func TestRadiiOfHalfSpaces(t *testing.T) {
	for _, n := range []float64{1, 1.4} {
		radiiOfHalfSpace(t, n, 4, 0.03, 16000, 0.04, t.Logf)
	}
}

// The whole range of soft tissue, within 2 %.
func TestRadiiOfHalfSpacesLong(t *testing.T) {
	row := long(t, "halfspaces", "Radii in mm that hold a share of the light that leaves a half space which light enters by the cosine law: the\n"+
		"program's paths against an analogue walk of one wavelength that shares no code with them. Coefficients in 1/mm.\n\n"+
		"| index | scattering | absorption | share | analogue | program | off, % |\n| --- | --- | --- | --- | --- | --- | --- |")
	for _, n := range []float64{1, 1.4} {
		for _, scatter := range []float64{2, 4, 8} {
			for _, absorb := range []float64{0.005, 0.03, 0.1} {
				radiiOfHalfSpace(t, n, scatter, absorb, 100000, 0.02, row)
			}
		}
	}
}

func radiiOfHalfSpace(t *testing.T, n, scatter, absorb float64, walks int, tol float64, row func(string, ...any)) {
	t.Helper()
	got := depart(t, n, scatter, absorb, walks)
	known := twinRadii(n, scatter, absorb, walks)
	for _, q := range []struct {
		share string
		a, b  Value
	}{{"50 %", got.Half[1], known.Half[1]}, {"90 %", got.Most[1], known.Most[1]}} {
		row("| %g | %g | %g | %s | %.4f +- %.4f | %.4f +- %.4f | %+.2f |", n, scatter, absorb, q.share, q.b.V, q.b.SE, q.a.V, q.a.SE, 100*(q.a.V/q.b.V-1))
		assert.InEpsilon(t, q.b.V, q.a.V, tol, "n %g, %g, %g: %s", n, scatter, absorb, q.share)
	}
}

func twinRadii(n, scatter, absorb float64, walks int) Radii {
	parts := make([][]Exit, groups)
	parallel.Each(groups, 2, func(g int) {
		w := twin{scatter: scatter, absorb: absorb, n: n, rng: rand.New(rand.NewPCG(uint64(g), 7))}
		for range walks / groups {
			if p, ok := w.walk(geom.Vec{}); ok {
				parts[g] = append(parts[g], Exit{math.Hypot(p.X, p.Y), [3]float64{1, 1, 1}})
			}
		}
	})
	return Pool(parts, walks)
}

// The twin gives back what is known of half spaces of isotropic scatterers under even light: with n 1 the share 1 - 2 alpha1
// sqrt(1-a) of Chandrasekhar, Radiative Transfer (1950), .794564 at a .99; with n 1.5 the .54018 of adding and doubling that
// the tracer's table of transfer has.
func TestTwinKnown(t *testing.T) {
	r := twinRadii(1, 0.99, 0.01, 32000)
	assert.InDelta(t, 0.794564, r.Share[0].V, 0.008)
	// In mean free paths: own computation of half spaces by another Monte Carlo, 0.6 to 6 million walks (see tissue.ExitRadius50).
	assert.InEpsilon(t, 1.377, r.Half[0].V, 0.03)
	assert.InEpsilon(t, 5.687, r.Most[0].V, 0.04)
	step := twinRadii(1.5, 0.99, 0.01, 16000)
	assert.InDelta(t, 0.54018, step.Share[0].V, 0.012)
}

// A tissue that is white, in a globe that is large beside its radii, has the radii that it was set to.
func TestRadiiOfEyes(t *testing.T) {
	p := ball(t, 10)
	s := Seen{Scene: p.Scene, Workers: 2, Seed: 3}
	dirs := []geom.Vec{{X: 1}, {Y: -1}, {X: -0.6, Z: 0.8}, {X: 0.6, Z: -0.8}}
	r, ok := s.Radii(dirs, 24000)
	require.True(t, ok)
	for c := range 3 {
		a := whiteS[c] / (whiteS[c] + whiteA[c])
		assert.InEpsilon(t, tissue.ExitRadius50(a)/(whiteS[c]+whiteA[c]), r.Half[c].V, 0.03)
		assert.Less(t, r.Half[c].SE/r.Half[c].V, 0.02)
		assert.InDelta(t, tissue.DiffuseAlbedo(a), r.Share[c].V, 0.01)
	}
	again, _ := (&Seen{Scene: p.Scene, Workers: 1, Seed: 3}).Radii(dirs, 24000)
	assert.Equal(t, r, again, "however many workers")
}

// long opens the table of a long check, or skips the check.
func long(t *testing.T, name, head string) func(format string, a ...any) {
	t.Helper()
	if os.Getenv("CATCHLIGHT_LONG") == "" {
		t.Skipf("takes minutes; CATCHLIGHT_LONG=1 runs it and writes testdata/spread/%s-DATE.md", name)
	}
	now := time.Now()
	f, err := os.Create(filepath.Join("..", "..", "testdata", "spread", fmt.Sprintf("%s-%s.md", name, now.Format("2006-01-02"))))
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, f.Close()) })
	_, err = fmt.Fprintf(f, "Measured %s, %s, %d processors, machine shared, by\n`CATCHLIGHT_LONG=1 go test ./render/spread -run '%s' -timeout 60m`\n\n%s\n",
		now.Format("2 January 2006"), runtime.Version(), runtime.NumCPU(), t.Name(), head)
	require.NoError(t, err)
	return func(format string, a ...any) {
		t.Logf(format, a...)
		fmt.Fprintf(f, format+"\n", a...)
	}
}
