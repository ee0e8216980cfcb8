package cover

import (
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/render/camera"
	"catchlight/scene/geom"

	"github.com/stretchr/testify/require"
)

// count returns how many triangles of the pass cover each sample, in any depth.
func count(p *Pass, samples int) []int {
	out := make([]int, p.view.Width*p.view.Height*samples)
	b := &Buffer{Width: p.view.Width, Height: p.view.Height, Samples: samples, Depth: make([]float32, len(out)), ID: make([]uint32, len(out))}
	for i := range p.tris {
		clear(b.ID)
		clear(b.Depth) // every triangle here lies before the far plane
		p.tris[i].draw(b, 1, 0, 0, int32(b.Width), int32(b.Height), nil)
		for k, id := range b.ID {
			out[k] += int(id)
		}
	}
	return out
}

func film(w, h int) View {
	f := geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}
	return Flat(f, geom.Vec{Z: 10}, 0, float64(h), 1, w, h, 1, 20)
}

// The rule of top and left edges: triangles that tile a plane cover each sample once (Direct3D 11 functional specification, section
// 3.4.2). Corners lie on a jittered grid, on whole steps, where edges run through samples, and between.
func TestAdjoiningTrianglesShareOut(t *testing.T) {
	const n, side = 9, 48
	for _, samples := range []int{1, 2, 4, 8} {
		for seed := range uint64(6) {
			rng := rand.New(rand.NewPCG(seed, 5))
			var pts []geom.Vec
			for j := range n + 1 {
				for i := range n + 1 {
					x, y := float64(i)/n*(side+8)-4, float64(j)/n*(side+8)-4
					if i > 0 && i < n && j > 0 && j < n {
						x, y = x+rng.Float64()*2-1, y+rng.Float64()*2-1
						if seed%2 == 0 {
							x, y = math.Round(x*8)/8, math.Round(y*8)/8
						}
					}
					pts = append(pts, geom.Vec{X: x, Y: y, Z: rng.Float64()})
				}
			}
			var tri [][3]uint32
			for j := range uint32(n) {
				for i := range uint32(n) {
					a, b, c, d := j*(n+1)+i, j*(n+1)+i+1, (j+1)*(n+1)+i+1, (j+1)*(n+1)+i
					if rng.IntN(2) == 0 {
						tri = append(tri, [3]uint32{a, b, c}, [3]uint32{a, c, d})
					} else {
						tri = append(tri, [3]uint32{a, b, d}, [3]uint32{b, c, d})
					}
				}
			}
			p := NewPass(film(side, side))
			p.Add(pts, tri, 0, Both, 2)
			for i, c := range count(p, samples) {
				require.Equal(t, 1, c, "sample %d of %d per pixel, seed %d", i, samples, seed)
			}
		}
	}
}

// The same holds across the cuts of the clipper: a fan of huge triangles round a point before the camera, cut by the near plane and
// by the guard band.
func TestClippedTrianglesShareOut(t *testing.T) {
	k, err := camera.New(camera.Config{Kind: camera.Perspective, Width: 64, Height: 48, Position: geom.Vec{Y: 3}, Aim: geom.Vec{Z: -10}, Up: geom.Vec{Y: 1}, SensorWidth: 36, FocalLength: 30})
	require.NoError(t, err)
	v := Of(&k, 64, 48, 0.5, 0)
	pts := []geom.Vec{{X: 0.3, Z: -9}}
	var tri [][3]uint32
	const n = 11
	for i := range uint32(n) {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		pts = append(pts, geom.Vec{X: 1e7 * cos, Z: 1e7 * sin})
		tri = append(tri, [3]uint32{0, 1 + (i+1)%n, 1 + i})
	}
	p := NewPass(v)
	p.Add(pts, tri, 0, Both, 2)
	seen := count(p, 4)
	for i, c := range seen {
		x, y := Offset(4, i%4)
		_, d, _ := k.Ray(float64(i/4%64)+x, float64(i/4/64)+y, 0, 0)
		switch { // the plane is whole but for what lies beyond 1e7 mm
		case d.Y < -1e-5:
			require.Equal(t, 1, c, "sample %d", i)
		case d.Y >= 0:
			require.Zero(t, c)
		}
	}
}

// What is drawn is where the ray through the sample meets the plane: depth, barycentrics and their slopes, in both projections.
func TestPlaceIsWhereTheRayMeets(t *testing.T) {
	for _, kind := range []camera.Kind{camera.Perspective, camera.Orthographic} {
		k, err := camera.New(camera.Config{Kind: kind, Width: 40, Height: 30, Position: geom.Vec{X: 4, Y: 8, Z: 20}, Aim: geom.Vec{X: 0.5}, Up: geom.Vec{Y: 1}, SensorWidth: 36, FocalLength: 30, FrameWidth: 30, Shift: [2]float64{0.1, -0.05}})
		require.NoError(t, err)
		v := Of(&k, 40, 30, 0.1, 1000)
		a, b, c := geom.Vec{X: -30, Z: 12}, geom.Vec{X: 25, Y: 3, Z: 9}, geom.Vec{X: 2, Y: -2, Z: -60}
		p := NewPass(v)
		p.Add([]geom.Vec{a, b, c}, [][3]uint32{{0, 1, 2}}, 7, Both, 2)
		buf := p.Draw(4, 2)
		n := b.Sub(a).Cross(c.Sub(a))
		at := func(x, y float64) (q geom.Vec, u, w float64) {
			o, d, _ := k.Ray(x, y, 0, 0)
			q = o.Mad(n.Dot(a.Sub(o))/n.Dot(d), d)
			r := q.Sub(a)
			return q, r.Cross(c.Sub(a)).Dot(n) / n.Len2(), b.Sub(a).Cross(r).Dot(n) / n.Len2()
		}
		hits := 0
		for i, id := range buf.ID {
			if id == None {
				continue
			}
			hits++
			ox, oy := Offset(4, i%4)
			x, y := float64(i/4%40)+ox, float64(i/4/40)+oy
			q, u, w := at(x, y)
			pl := p.At(id, x, y)
			// Corners move by half a step of 1/256 pixel.
			require.InDelta(t, u, pl.U, 2e-3)
			require.InDelta(t, w, pl.V, 2e-3)
			_, _, z := v.Project(q)
			require.InEpsilon(t, z, buf.Depth[i], 2e-3)
			_, u2, w2 := at(x+0.01, y)
			_, u3, w3 := at(x, y+0.01)
			require.InDelta(t, (u2-u)*100, pl.UX, 1e-2*math.Abs(pl.UX)+1e-4)
			require.InDelta(t, (w2-w)*100, pl.VX, 1e-2*math.Abs(pl.VX)+1e-4)
			require.InDelta(t, (u3-u)*100, pl.UY, 1e-2*math.Abs(pl.UY)+1e-4)
			require.InDelta(t, (w3-w)*100, pl.VY, 1e-2*math.Abs(pl.VY)+1e-4)
			require.EqualValues(t, 7, pl.Object)
		}
		require.Greater(t, hits, 300)
	}
}

// What a mask takes away shows what lies behind, sample by sample, in the right perspective: a checker of the triangle's own place.
func TestCutout(t *testing.T) {
	k, err := camera.New(camera.Config{Kind: camera.Perspective, Width: 40, Height: 30, Position: geom.Vec{X: 4, Y: 8, Z: 20}, Aim: geom.Vec{}, Up: geom.Vec{Y: 1}, SensorWidth: 36, FocalLength: 30})
	require.NoError(t, err)
	p := NewPass(Of(&k, 40, 30, 0.1, 0))
	a, b, c := geom.Vec{X: -30, Z: 12}, geom.Vec{X: 25, Y: 3, Z: 9}, geom.Vec{X: 2, Y: -2, Z: -60}
	p.Add([]geom.Vec{a, b, c}, [][3]uint32{{0, 1, 2}}, 0, Both, 1)
	p.Add([]geom.Vec{{X: -900, Y: -90, Z: 900}, {X: 900, Y: -90, Z: 900}, {Y: -90, Z: -900}}, [][3]uint32{{0, 1, 2}}, 1, Both, 1)
	whole := p.Draw(4, 1)
	gone := func(u, v float64) bool { return int(u*20)%2 == int(v*20)%2 }
	p.Mask(0, func(_ uint32, u, v float64, _ int) bool { return gone(u, v) })
	cut := p.Draw(4, 2)
	behind, kept := 0, 0
	for i, id := range whole.ID {
		if id != 0 {
			require.Equal(t, id, cut.ID[i])
			continue
		}
		ox, oy := Offset(4, i%4)
		pl := p.At(0, float64(i/4%40)+ox, float64(i/4/40)+oy)
		if gone(pl.U, pl.V) {
			behind++
			require.NotEqual(t, uint32(0), cut.ID[i])
		} else {
			kept++
			require.Equal(t, uint32(0), cut.ID[i])
		}
	}
	require.Greater(t, behind, 300)
	require.Greater(t, kept, 300)
}

// Nearer wins, whatever the order and the workers; faces seen from behind go where the side asks for it.
func TestDepthAndSides(t *testing.T) {
	pts := []geom.Vec{{X: -9, Y: -9, Z: 1}, {X: 299, Y: -9, Z: 1}, {X: -9, Y: 299, Z: 1}, {X: -9, Y: -9, Z: 4}, {X: 299, Y: -9, Z: 4}, {X: -9, Y: 299, Z: 4}}
	p := NewPass(film(70, 40))
	p.Add(pts, [][3]uint32{{3, 4, 5}, {0, 1, 2}}, 0, Front, 2)
	one, two := p.Draw(4, 1), p.Draw(4, 3)
	require.Equal(t, one, two)
	for _, id := range one.ID {
		require.Zero(t, id)
	}
	p = NewPass(film(70, 40))
	p.Add(pts, [][3]uint32{{3, 5, 4}}, 0, Front, 2)
	require.Empty(t, p.tris)
	require.Error(t, CheckSamples(3))
}
