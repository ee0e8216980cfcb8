package spread

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/render/prepare"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// ballFile writes two balls as an .obj file: an eye without a bulge or a pupil, whose tissue is a ball of radius r.
func ballFile(t *testing.T, r float64) string {
	t.Helper()
	var b strings.Builder
	const rings, sectors = 180, 360
	base := 1
	for _, q := range []struct {
		name string
		r    float64
	}{{"outer", 1.004 * r}, {"inner", r}} {
		fmt.Fprintf(&b, "o %s\nv 0 0 %.9g\n", q.name, q.r)
		for i := 1; i < rings; i++ {
			sin, cos := math.Sincos(math.Pi * float64(i) / rings)
			for k := range sectors {
				s, c := math.Sincos(2 * math.Pi * float64(k) / sectors)
				fmt.Fprintf(&b, "v %.9g %.9g %.9g\n", q.r*sin*c, q.r*sin*s, q.r*cos)
			}
		}
		fmt.Fprintf(&b, "v 0 0 %.9g\n", -q.r)
		at := func(i, k int) int { return base + 1 + (i-1)*sectors + k%sectors }
		last := base + 1 + (rings-1)*sectors
		for k := range sectors {
			fmt.Fprintf(&b, "f %d %d %d\nf %d %d %d\n", base, at(1, k), at(1, k+1), last, at(rings-1, k+1), at(rings-1, k))
			for i := 1; i < rings-1; i++ {
				fmt.Fprintf(&b, "f %d %d %d %d\n", at(i, k), at(i+1, k), at(i+1, k+1), at(i, k+1))
			}
		}
		base = last + 1
	}
	path := filepath.Join(t.TempDir(), "ball.obj")
	require.NoError(t, os.WriteFile(path, []byte(b.String()), 0o666))
	return path
}

const ballScene = `
picture: {width: 4, height: 4}
camera: {kind: orthographic, orbit: {distance: 1000}}
` + sun + `
objects:
  - name: eye
    shape: eye
    transform: {scale: %g}
    map_size: 64
    asset: {file: %s, unit: mm, outer: outer, inner: inner, close_gap: false, subdivide: 0}
    globe: {radius: 12}
    limbus: {radius: 1, width: 0.5}
    iris: {sigma_a: [%g, %g, %g], sigma_s: [%g, %g, %g]}
    sclera: {sigma_a: [%[3]g, %[4]g, %[5]g], sigma_s: [%[6]g, %[7]g, %[8]g]}
`

// Reduced coefficients of the white, 1/mm: see the default of sclera.scatter_radius.
var whiteA, whiteS = [3]float64{0.031, 0.052, 0.12}, [3]float64{4.0, 4.85, 6.7}

func ball(t *testing.T, scale float64) *prepare.Prepared {
	t.Helper()
	a, s := whiteA, whiteS
	return prepared(t, fmt.Sprintf(ballScene, scale, ballFile(t, 12), a[0], a[1], a[2], s[0], s[1], s[2]))
}

// twinEdge is Edge of a ball by the twin, for one channel. By reciprocity it may go either way; it lets light in where one looks.
func twinEdge(radius, spread float64, c, walks int) (width, past Value) {
	s := Seen{}
	x := s.across(radius, spread)
	list := make([][]*profile, groups)
	parallel.Each(groups, 2, func(g int) {
		w := twin{scatter: whiteS[c], absorb: whiteA[c], n: 1, ball: radius, rng: rand.New(rand.NewPCG(uint64(g), 5))}
		p := new(profile)
		for i := range x {
			sin, cos := math.Sincos(x[i] / radius)
			for range walks / groups / places {
				if out, ok := w.walk(geom.Vec{X: radius * sin, Z: radius * cos}); ok {
					n := out.Unit()
					p.count(i, [3]float64{1, 1, 1}, max(0, n.Z), max(0, n.X), out.X > 0)
				}
			}
		}
		list[g] = []*profile{p}
	})
	sum := func(p []*profile) *profile {
		var all profile
		for _, q := range p {
			all.add(q)
		}
		return &all
	}
	width = pooled(list, func(p []*profile) float64 { v, _ := within(x, sum(p)); return v })
	past = pooled(list, func(p []*profile) float64 { v, _ := rise(x, &sum(p).side, &sum(p).out, 0, Level); return -v })
	return width, past
}

func within(x [places]float64, p *profile) (float64, bool) { return width(x, p, 0) }

// The edge on a ball of 12 mm is as wide, and light as far past the terminator, as the twin has it.
func TestEdgeOfBall(t *testing.T) {
	edgeOfBall(t, 1, 12000, 0.08, t.Logf)
}

// Edges on balls of 1.2, 12 and 120 mm.
func TestEdgesOfBallsLong(t *testing.T) {
	row := long(t, "edges", "A shadow's edge and the terminator on balls of tissue (reduced scattering 4.0, 4.85, 6.7, absorption 0.031, 0.052,\n"+
		"0.12 per mm): the program's walks against an analogue walk that shares no code with them. Lengths in mm.\n\n"+
		"| radius | channel | measure | analogue | program |\n| --- | --- | --- | --- | --- |")
	for _, scale := range []float64{0.1, 1, 10} {
		edgeOfBall(t, scale, 400000, 0.04, row)
	}
}

func edgeOfBall(t *testing.T, scale float64, walks int, tol float64, row func(string, ...any)) {
	t.Helper()
	p := ball(t, scale)
	s := Seen{Scene: p.Scene, Workers: 2, Seed: 1}
	radius := 12 * scale
	e, ok := s.Edge(geom.Vec{X: math.Sin(1.1), Z: math.Cos(1.1)}, geom.Vec{Y: 1}, radius, 1.2, walks)
	require.True(t, ok)
	for c, name := range []string{"red", "green", "blue"} {
		width, past := twinEdge(radius, 1.2, c, 20*walks)
		row("| %.3g | %s | width of the edge | %.4f +- %.4f | %.4f +- %.4f |", radius, name, width.V, width.SE, e.Width[c].V, e.Width[c].SE)
		row("| %.3g | %s | past the terminator | %.4f +- %.4f | %.4f +- %.4f |", radius, name, past.V, past.SE, e.Past[c].V, e.Past[c].SE)
		assert.InEpsilon(t, width.V, e.Width[c].V, tol, "%s edge at %g mm", name, radius)
		assert.InDelta(t, past.V, e.Past[c].V, tol*math.Abs(width.V), "%s terminator at %g mm", name, radius)
	}
}
