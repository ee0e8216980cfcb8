package layout_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/base"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/layout"
	"catchlight/scene/mesh"
)

var made *base.Set

// The usual eye's inner shell on the coordinates of grown maps, and what a layout has to know of it.
func shell(t *testing.T) (*mesh.Mesh, layout.Eye) {
	t.Helper()
	if made == nil {
		var err error
		made, err = base.Make(eye.Defaults(), base.Base)
		require.NoError(t, err)
	}
	s := made
	m, from := s.Inner.Triangles()
	for i, k := range from {
		m.UV[i] = s.Inner.Chart[k]
	}
	return m, layout.Eye{Globe: 12, Limbus: 5.85, Width: 0.9, Plane: 9.2}
}

func laid(t *testing.T, m *mesh.Mesh, e layout.Eye, o layout.Options) (*layout.Laid, *layout.Carry) {
	t.Helper()
	l, err := layout.Lay(m, e, o)
	require.NoError(t, err)
	return l, &layout.Carry{From: m, To: l.Mesh, Mirror: o.Mirror, Tile: l.Tile, Over: l.Over}
}

// picture paints n by n texels of c channels.
func picture(n, c int, f func(u, v float64, out []float32)) *layout.Picture {
	p := &layout.Picture{W: n, H: n, C: c, Pix: make([]float32, n*n*c), Names: []string{"R", "G", "B"}[:c]}
	for y := range n {
		for x := range n {
			f((float64(x)+0.5)/float64(n), (float64(y)+0.5)/float64(n), p.Pix[(y*n+x)*c:(y*n+x+1)*c])
		}
	}
	return p
}

func source(kind layout.Kind, p *layout.Picture) *layout.Source {
	return &layout.Source{Kind: kind, Green: 1, Tiles: map[int]*layout.Picture{1001: p}, Wrap: 1}
}

// The iris gets 3.5 times the texels of a projection along the axis as an island and 1.5 times as a share of a disc, whose worst
// stretch on the front is below 3. Every triangle keeps its area's sign, in the disc, the isles and the tile.
func TestTexelsOfTheIris(t *testing.T) {
	m, e := shell(t)
	for _, c := range []struct {
		kind           string
		times, stretch float64
	}{{layout.Radial, 1.5, 3}, {layout.Island, 3.5, 1.2}} {
		l, _ := laid(t, m, e, layout.Options{Kind: c.kind})
		require.Greater(t, layout.TimesPlanar(l.Mesh, 12, layout.OnIris(l.Mesh, e)), c.times, c.kind)
		front := layout.TexelsOf(l.Mesh, 4096, layout.OnWhite(l.Mesh, e, geom.Radians(91.1)))
		require.Less(t, front.Stretch, c.stretch, c.kind)
		for i, q := range l.Mesh.Tri {
			a, b, d := l.Mesh.UV[q[0]], l.Mesh.UV[q[1]], l.Mesh.UV[q[2]]
			require.LessOrEqual(t, (b.U-a.U)*(d.V-a.V)-(b.V-a.V)*(d.U-a.U), 1e-9, "%s triangle %d", c.kind, i)
			for _, uv := range []geom.UV{a, b, d} {
				require.True(t, uv.V > 0 && uv.V < 1 && uv.U > float64(l.Tile[i]) && uv.U < float64(l.Tile[i]+1), c.kind)
			}
		}
	}
	_, err := layout.Lay(m, e, layout.Options{Kind: "square"})
	require.ErrorContains(t, err, `layout "square": known are radial, island`)
}

// There and back a broad pattern is what it was, in both layouts: on the front as it is seen, a fine one too where the target has the
// texels.
func TestThereAndBack(t *testing.T) {
	m, e := shell(t)
	const n = 256
	wave := func(u, v float64, out []float32) { out[0] = float32(0.5 + 0.4*math.Sin(60*u)*math.Cos(54*v)) }
	was := picture(n, 1, wave)
	for _, kind := range []string{layout.Radial, layout.Island} {
		l, c := laid(t, m, e, layout.Options{Kind: kind})
		s := &layout.Source{Kind: layout.Data, Green: 1, Tiles: map[int]*layout.Picture{}, Wrap: 1, Tiled: kind == layout.Island}
		for tile := range 2 {
			if tile == 0 || s.Tiled {
				s.Tiles[1001+tile] = c.Map(source(layout.Data, was), tile, 512, 512)
			}
		}
		back := &layout.Carry{From: l.Mesh, To: m}
		now := back.Map(s, 0, n, n)
		sum, worst, count := 0.0, 0.0, 0
		for y := range n {
			for x := range n {
				r := math.Hypot(float64(x)+0.5-n/2, float64(y)+0.5-n/2) / n
				if r < 0.12 || r > 0.4 { // outside the pupil; before the back
					continue
				}
				d := math.Abs(float64(now.Pix[y*n+x] - was.Pix[y*n+x]))
				sum, worst, count = sum+d*d, max(worst, d), count+1
			}
		}
		require.Less(t, math.Sqrt(sum/float64(count)), 0.004, kind)
		require.Less(t, worst, 0.06, kind)
	}
}

// Carried normals point where they did in space, within half a degree at the few texels; turned frames, mirrored ones, and both
// greens.
func TestNormalsTurn(t *testing.T) {
	m, e := shell(t)
	bump := picture(256, 3, func(u, v float64, out []float32) {
		n := geom.Vec{X: 0.3 * math.Sin(20*u), Y: 0.25 * math.Cos(18*v), Z: 1}.Unit()
		out[0], out[1], out[2] = float32(0.5+0.5*n.X), float32(0.5+0.5*n.Y), float32(0.5+0.5*n.Z)
	})
	for _, mirror := range []bool{false, true} {
		for _, green := range []float64{1, -1} {
			l, c := laid(t, m, e, layout.Options{Kind: layout.Radial, Mirror: mirror})
			s := source(layout.Normal, bump)
			s.Green = green
			now := c.Map(s, 0, 384, 384)
			then, there := mesh.MakeTangents(m), mesh.MakeTangents(l.Mesh)
			worst, sum, count := 0.0, 0.0, 0.0
			for i := 0; i < len(m.Tri); i += 7 {
				f, q := m.Tri[i], l.Mesh.Tri[i]
				mid := m.P[f[0]].Add(m.P[f[1]]).Add(m.P[f[2]]).Mul(1.0 / 3)
				if r := math.Hypot(mid.X, mid.Y); r < 2.2 || mid.Z < 2 || mid.Z < 8.6 && r < 3 { // not the well behind the pupil
					continue
				}
				read := func(p *layout.Picture, a, b, c geom.UV) geom.Vec {
					x, y := int((a.U+b.U+c.U)/3*float64(p.W)), int((a.V+b.V+c.V)/3*float64(p.H))
					v := p.Pix[(y*p.W+x)*3:]
					return geom.Vec{X: 2*float64(v[0]) - 1, Y: green * (2*float64(v[1]) - 1), Z: 2*float64(v[2]) - 1}
				}
				a := read(bump, m.UV[f[0]], m.UV[f[1]], m.UV[f[2]])
				b := read(now, l.Mesh.UV[q[0]], l.Mesh.UV[q[1]], l.Mesh.UV[q[2]])
				n0 := then.Decode(m, uint32(i), 1.0/3, 1.0/3, a.X, a.Y, a.Z).Unit()
				n1 := there.Decode(l.Mesh, uint32(i), 1.0/3, 1.0/3, b.X, b.Y, b.Z).Unit()
				if mirror {
					n0.X = -n0.X
				}
				d := geom.Degrees(math.Acos(min(1, n0.Dot(n1))))
				worst, sum, count = max(worst, d), sum+d, count+1
			}
			require.Less(t, worst, 1.6, "degrees; read at the nearest texels of both, between which the pattern turns by up to 1.4 each")
			require.Less(t, sum/count, 0.6)
		}
	}
}

// Numbers of parts are never mixed; a mirrored map is the other turned over.
func TestNumbersAndMirrors(t *testing.T) {
	m, e := shell(t)
	ids := picture(200, 1, func(u, v float64, out []float32) { out[0] = float32(int(7*u)+int(5*v)) / 255 })
	_, c := laid(t, m, e, layout.Options{Kind: layout.Radial})
	now := c.Map(source(layout.IDs, ids), 0, 150, 150)
	known := map[float32]bool{}
	for _, v := range ids.Pix {
		known[v] = true
	}
	for _, v := range now.Pix {
		require.True(t, known[v])
	}
	_, k := laid(t, m, e, layout.Options{Kind: layout.Radial, Mirror: true})
	other := k.Map(source(layout.IDs, ids), 0, 150, 150)
	differ := 0
	for y := range 150 {
		for x := range 150 {
			if math.Hypot(float64(x)-74.5, float64(y)-74.5) < 74 && other.Pix[y*150+149-x] != now.Pix[y*150+x] {
				differ++
			}
		}
	}
	require.Less(t, differ, 150*150/100) // where a texel's middle lies on an edge
}

// Cubic look-ups keep fine waves where bilinear ones blur them, and where a map shrinks its waves fade instead of turning into others.
func TestFilters(t *testing.T) {
	quad := func(k float64) *mesh.Mesh {
		return &mesh.Mesh{P: []geom.Vec{{}, {X: 1}, {X: 1, Y: 1}, {Y: 1}}, N: []geom.Vec{{Z: 1}, {Z: 1}, {Z: 1}, {Z: 1}},
			UV: []geom.UV{{V: k}, {U: k, V: k}, {U: k}, {}}, Tri: [][3]uint32{{0, 1, 2}, {0, 2, 3}}}
	}
	const n = 196
	wave := func(period, shift float64) *layout.Picture {
		return picture(n, 1, func(u, _ float64, out []float32) {
			out[0] = float32(0.5 + 0.3*math.Sin(2*math.Pi*(u*n+shift)/period))
		})
	}
	from, to := quad(1), quad(1)
	const aside = 0.37
	for i := range from.UV {
		from.UV[i].U += aside / n
	}
	c := layout.Carry{From: from, To: to}
	got, want := c.Map(source(layout.Data, wave(4.9, 0)), 0, n, n), wave(4.9, aside)
	sum := 0.0
	for y := range n {
		for x := 4; x < n-4; x++ {
			d := float64(got.Pix[y*n+x] - want.Pix[y*n+x])
			sum += d * d
		}
	}
	rms := math.Sqrt(sum/float64(n*(n-8))) / (0.3 / math.Sqrt2)
	require.Less(t, rms, 0.06) // bilinear: 0.17 at this shift, by 1 - |(1-t) + t exp(ik)|
	require.Greater(t, rms, 0.005)
	// Shrunk to a third: a wave of 2.5 texels would read as one of 15; its mean is what is left.
	small := (&layout.Carry{From: quad(1), To: quad(1)}).Map(source(layout.Data, wave(2.5, 0)), 0, n/3, n/3)
	top := 0.0
	for _, v := range small.Pix {
		top = max(top, math.Abs(float64(v)-0.5))
	}
	require.Less(t, top, 0.45*0.3)
}
