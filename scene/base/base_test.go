package base

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/layout"
	"catchlight/scene/mesh"
)

func made(t *testing.T, p eye.Params, level int) *Set {
	t.Helper()
	s, err := Make(p, level)
	require.NoError(t, err)
	return s
}

var usual [Levels]*Set

// level is that of the eye of the defaults, made once.
func level(t *testing.T, n int) *Set {
	t.Helper()
	if usual[n] == nil {
		usual[n] = made(t, eye.Defaults(), n)
	}
	return usual[n]
}

// The hashes of version 1. They must never change: work of others hangs on order and coordinates. A new order is a new version.
var version1 = map[string]string{
	"outer":           "fa0485078679b05a04aa5fc3024b44c2fb4fe60d0b029d2af4072a05b306331d",
	"inner":           "482f73fc465c9c6a3a602a47777bb839d43c78b632a8393de490690eca20576b",
	"tear_strip":      "fa0658630dc47b30f76ebf4676e075564998663bfb93df73ea07a050caac33d8",
	"occlusion_strip": "f00582f66a7b1d9be0825123f4fcc4af88d335c394e636693794423fc17e3639",
}

func TestOrderIsKept(t *testing.T) {
	require.Equal(t, 1, Version)
	s := level(t, Base)
	faces := 0
	for _, m := range s.Meshes() {
		require.Equal(t, version1[m.Name], m.Order(m == s.Outer || m == s.Inner), m.Name)
		if m == s.Outer || m == s.Inner {
			faces += len(m.Quads)
		}
	}
	require.Greater(t, faces, 2000)
	require.Less(t, faces, 8000)
	// Another eye has other places and the same order and coordinates.
	p := eye.Defaults()
	p.GlobeRadius, p.CorneaRadius, p.LimbusRadius, p.PupilDiameter, p.PupilOffset = 11, 7.4, 5.5, 3, [2]float64{}
	o := made(t, p, Base)
	for i, m := range s.Meshes() {
		require.Equal(t, m.Order(false), o.Meshes()[i].Order(false))
	}
	require.NotEqual(t, s.Inner.Order(true), o.Inner.Order(true))
}

// All faces are quads, both shells are closed and wound outward, every vertex has an outward normal, no quad is folded or slim, and no
// two places of the texture plane are one but along the seams.
func TestQuads(t *testing.T) {
	for _, l := range []int{Base, Levels - 1} {
		s := level(t, l)
		for _, m := range []*Mesh{s.Outer, s.Inner} {
			tri, from := m.Triangles()
			require.Len(t, tri.Tri, 2*len(m.Quads))
			require.Len(t, from, len(tri.P))
			open, bad := mesh.Closed(mesh.Weld(tri, 0))
			require.Zero(t, open+bad, "%s %d", m.Name, l)
			require.Greater(t, tri.Volume(), 0.0)
			turned, area := 0, 0.0
			for _, c := range tri.Tri {
				a, b, d := tri.UV[c[0]], tri.UV[c[1]], tri.UV[c[2]]
				det := (b.U-a.U)*(d.V-a.V) - (b.V-a.V)*(d.U-a.U)
				if det >= 0 { // v runs down
					turned++
				}
				area -= det / 2
			}
			require.Zero(t, turned, "%s %d: turned in the texture plane", m.Name, l)
			require.Less(t, area, math.Pi/4+2*math.Pi*0.082*0.082)
			least := 1.0
			for _, q := range m.Quads {
				for k := range 4 {
					a, b, d := m.P[q[k].P], m.P[q[(k+1)%4].P], m.P[q[(k+3)%4].P]
					least = min(least, b.Sub(a).Unit().Cross(d.Sub(a).Unit()).Len())
				}
			}
			require.Greater(t, least, 0.25, "%s %d: sine of the sharpest corner", m.Name, l)
		}
	}
}

// A level's vertices are some of the finer one's, bit by bit, and every loop is in it: pupil, collarette, limbus, equator, seam.
func TestLevelsNest(t *testing.T) {
	var finer *Set
	for n := range Levels {
		s := level(t, n)
		for i, m := range []*Mesh{s.Outer, s.Inner} {
			var names []string
			for _, l := range m.Loops {
				names = append(names, l.Name)
				require.Len(t, l.Places, sides>>n)
			}
			require.Equal(t, [][]string{{"limbus", "equator", "seam"}, {"pupil edge", "pupil", "collarette", "limbus", "equator", "seam"}}[i], names)
			if finer == nil {
				continue
			}
			has := map[geom.Vec]bool{}
			for _, p := range []*Mesh{finer.Outer, finer.Inner}[i].P {
				has[p] = true
			}
			for k, p := range m.P {
				require.True(t, has[p], "%s level %d vertex %d", m.Name, n, k)
			}
		}
		finer = s
	}
}

// The outline of N sides lies R (1 - cos(pi/N)) inside the circle: the equator's. A level has four times the error of the one before.
func TestOutline(t *testing.T) {
	require.Equal(t, 72, Sides(1024))
	require.Equal(t, 18, Sides(64))
	before := 0.0
	for l := range Levels - 1 {
		s := level(t, l)
		e, err := Outline(eye.Defaults(), s.Outer)
		require.NoError(t, err)
		n := sides >> l
		ring := 12 * (1 - math.Cos(math.Pi/float64(n)))
		require.Greater(t, e, ring)
		require.Less(t, e, 2.6*ring, l)
		if before > 0 {
			require.InDelta(t, 4, e/before, 1)
		}
		before = e
	}
}

// A left eye is a right one mirrored: its nose side is -X, it is wound outward, and the picture is the other eye's turned over.
func TestMirrored(t *testing.T) {
	p := eye.Defaults()
	right := level(t, 2)
	p.Left, p.PupilOffset[0] = true, -p.PupilOffset[0]
	left := made(t, p, 2)
	for i, m := range left.Meshes() {
		r := right.Meshes()[i]
		tri, _ := m.Triangles()
		if i < 2 {
			require.Greater(t, tri.Volume(), 0.0)
		}
		for k, q := range m.P {
			require.Equal(t, geom.Vec{X: -r.P[k].X, Y: r.P[k].Y, Z: r.P[k].Z}, q)
		}
		for k, q := range m.UV {
			require.Equal(t, geom.UV{U: 1 - r.UV[k].U, V: r.UV[k].V}, q)
		}
	}
}

// Between the least and the largest pupil places move along straight lines, so that one weight moves the pupil: half-way they are where
// an eye of that pupil has them.
func TestPupilMovesStraight(t *testing.T) {
	p := eye.Defaults()
	s := made(t, p, Base)
	require.Equal(t, [3]float64{3.6, 2, 8}, s.Pupils)
	p.PupilDiameter = 5.8
	mid := made(t, p, Base)
	w := (5.8 - 3.6) / (8 - 3.6)
	worst := 0.0
	for i, q := range s.Inner.P {
		worst = max(worst, geom.Lerp(q, s.Wide[i], w).Sub(mid.Inner.P[i]).Len())
	}
	require.Less(t, worst, 0.03, "mm")
}

// The strips lie along the lids: the tears' on the eye, the shade just above it, both wound outward.
func TestStrips(t *testing.T) {
	s := level(t, Base)
	for _, m := range []*Mesh{s.Tear, s.Shade} {
		for i, p := range m.P {
			require.Greater(t, p.Len(), 11.9)
			require.Less(t, p.Len(), 13.4)
			require.Greater(t, m.N[i].Dot(p), 0.0, "%s %d", m.Name, i)
		}
	}
	// Inner sides lie nearer to the middle of the opening.
	n := len(s.Shade.UV)/5 - 1
	require.Greater(t, math.Abs(s.Shade.P[n/4].Y), math.Abs(s.Shade.P[4*n+n/4].Y)+2)
	_, err := Make(eye.Defaults(), 9)
	require.ErrorContains(t, err, "level 9")
}

// Fibres stay fibres: a fan of 90 rays over the iris has 90 rays after the pupil moved, at every distance from it, with nearly their
// contrast; the pupil's edge lies where the new pupil is; what lies outside the iris stays, bit by bit.
func TestRemapKeepsFibres(t *testing.T) {
	p := eye.Defaults()
	p.PupilOffset = [2]float64{}
	s := made(t, p, Base)
	e, err := eye.Lay(p)
	require.NoError(t, err)
	const n, rays = 512, 90
	perMM := 0.25 * n / p.LimbusRadius
	was := &layout.Picture{W: n, H: n, C: 1, Pix: make([]float32, n*n), Names: []string{"Y"}}
	for y := range n {
		for x := range n {
			dx, dy := float64(x)+0.5-n/2, float64(y)+0.5-n/2
			was.Pix[y*n+x] = 0.5 + 0.4*float32(math.Cos(rays*math.Atan2(dy, dx)))
			if math.Hypot(dx, dy) < 1.8*perMM {
				was.Pix[y*n+x] = 0
			}
		}
	}
	src := &layout.Source{Kind: layout.Data, Green: 1, Tiles: map[int]*layout.Picture{1001: was}, Wrap: 1}
	for _, d := range []float64{2, 3, 4, 6, 8} {
		now := s.Remap(src, d, e.SurfaceUV)
		dark := 0
		for i, v := range now.Pix {
			x, y := float64(i%n)+0.5-n/2, float64(i/n)+0.5-n/2
			if r := math.Hypot(x, y) / perMM; r < d/2+0.15 && v < 0.05 {
				dark++
			} else if r > 6.1 {
				require.Equal(t, was.Pix[i], v)
			}
		}
		require.InDelta(t, d/2, math.Sqrt(float64(dark)/math.Pi)/perMM, 0.05, "radius of the pupil's edge")
		// The wave of 90 rays round the clock, by its Fourier sum, half-way between margin and root.
		for _, share := range []float64{0.35, 0.6, 0.85} {
			r := (d/2 + share*(5.355-d/2)) * perMM
			var re, im float64
			const m = 4096
			for k := range m {
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / m)
				x, y := r*cos+n/2, r*sin+n/2
				v := float64(now.Pix[int(y)*n+int(x)])
				s90, c90 := math.Sincos(rays * 2 * math.Pi * float64(k) / m)
				re, im = re+v*c90*2/m, im+v*s90*2/m
			}
			require.Greater(t, math.Hypot(re, im), 0.4*0.75, "pupil %g, share %g", d, share) // the look-up at the nearest texel costs a part
		}
	}
}
