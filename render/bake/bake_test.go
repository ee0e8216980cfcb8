package bake

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/atlas"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// sheetOf is a surface z = f(x, y) over the square of half side a, n cells a side; its layout is the square.
func sheetOf(n int, a float64, f func(x, y float64) float64) *mesh.Mesh {
	return over(n, n, func(u, v float64) geom.Vec {
		x, y := a*(2*u-1), a*(1-2*v)
		return geom.Vec{X: x, Y: y, Z: f(x, y)}
	})
}

// over is a surface over the unit square of its layout, n x k cells.
func over(n, k int, f func(u, v float64) geom.Vec) *mesh.Mesh {
	m := &mesh.Mesh{}
	for j := range k + 1 {
		for i := range n + 1 {
			u, v := float64(i)/float64(n), float64(j)/float64(k)
			m.P, m.UV = append(m.P, f(u, v)), append(m.UV, geom.UV{U: u, V: v})
		}
	}
	at := func(i, j int) uint32 { return uint32(j*(n+1) + i) }
	for j := range k {
		for i := range n {
			m.Tri = append(m.Tri, [3]uint32{at(i, j), at(i, j+1), at(i+1, j)}, [3]uint32{at(i+1, j), at(i, j+1), at(i+1, j+1)})
		}
	}
	mesh.Normals(m)
	return m
}

// bandOf is most of a sphere of radius r, from 10 to 170 degrees, n x k cells.
func bandOf(n, k int, r float64) *mesh.Mesh {
	return over(n, k, func(u, v float64) geom.Vec {
		a := geom.Radians(10 + 160*v)
		s, c := math.Sincos(2 * math.Pi * u)
		return geom.Vec{X: r * math.Sin(a) * s, Y: r * math.Cos(a), Z: r * math.Sin(a) * c}
	})
}

func flat(x, y float64) float64 { return 0 }

// maps are what is baked of one tile, in memory.
type maps struct {
	size  int
	plane map[Kind][]float32 // channel after channel
	count Count
}

func (m *maps) at(k Kind, c, x, y int) float64 { return float64(m.plane[k][(c*m.size+y)*m.size+x]) }

// bakeIn bakes one tile in memory.
func bakeIn(t testing.TB, b *Bake, size, n int, kinds ...Kind) *maps {
	t.Helper()
	require.NoError(t, b.Prepare(kinds))
	s := atlas.NewSheet(b.Low.Mesh, 1001, size, size, n)
	out := &maps{size: size, plane: map[Kind][]float32{}}
	for _, k := range kinds {
		out.plane[k] = make([]float32, b.Channels(k)*size*size)
	}
	var brush Brush
	for block := range s.Blocks() {
		b.Block(s, block, kinds, &brush)
		out.count.Add(brush.Count)
		x0, y0, x1, y1 := s.Area(block)
		for i, k := range kinds {
			for c := range b.Channels(k) {
				for y := y0; y < y1; y++ {
					for x := x0; x < x1; x++ {
						out.plane[k][(c*size+y)*size+x] = brush.Out[i][(c*atlas.Side+y-y0)*atlas.Side+x-x0]
					}
				}
			}
		}
	}
	return out
}

func solid(t testing.TB, m ...*mesh.Mesh) *Solid {
	t.Helper()
	var parts []Part
	for i, q := range m {
		p := Part{Name: string(rune('a' + i)), Mesh: q}
		p.Look.BaseColour = colour.Grey(1)
		parts = append(parts, p)
	}
	s, err := NewSolid(parts, 1)
	require.NoError(t, err)
	return s
}

// A mesh onto itself is flat within a code of 16 bits, has no height, and is where it is.
func TestOntoItself(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	m := sheetOf(12, 5, func(x, y float64) float64 { return 0.4*math.Sin(x)*math.Cos(0.7*y) + 0.05*r.Float64() })
	b := &Bake{Low: NewBase(m, 0.5), High: solid(t, m)}
	out := bakeIn(t, b, 128, 2, Cover, Normal, Height, Position)
	require.Zero(t, out.count.Missed+out.count.Twice)
	for y := range 128 {
		for x := range 128 {
			require.Equal(t, 1.0, out.at(Cover, 0, x, y))
			require.Less(t, math.Hypot(out.at(Normal, 0, x, y), out.at(Normal, 1, x, y))/2, 1.0/65535)
			require.Less(t, math.Abs(out.at(Height, 0, x, y)), 1e-6)
			require.InDelta(t, 10*(float64(x)+0.5)/128-5, out.at(Position, 0, x, y), 0.01)
		}
	}
}

// Height of a ball over N segments about it is known everywhere (closed form along the ray), within 1e-3 mm; its normals, decoded by the
// standard's formula at the middle of each texel, come back within a code of 16 bits.
func TestBallOnSegments(t *testing.T) {
	low := bandOf(16, 12, 12.1)
	high := bandOf(480, 240, 12)
	for v, p := range high.P {
		high.N[v] = p.Unit()
	}
	b := &Bake{Low: NewBase(low, 0.6), High: solid(t, high)}
	const size = 96
	out := bakeIn(t, b, size, 1, Cover, Normal, Height)
	s := atlas.NewSheet(low, 1001, size, size, 1)
	var block atlas.Block
	s.Draw(0, &block)
	worst, off, n := 0.0, 0.0, 0
	for y := range size {
		for x := range size {
			p := block.Texel(x, y)[0]
			if out.at(Cover, 0, x, y) != 1 || y < 6 || y > size-6 {
				continue
			}
			n++
			q, o, d, _ := b.Low.ray(p.Tri, p.U, p.V)
			// |o + t d| = 12
			od := o.Dot(d)
			at := -od - math.Sqrt(od*od-o.Len2()+144)
			hit := o.Mad(at, d)
			worst = max(worst, math.Abs(out.at(Height, 0, x, y)-(q.Sub(hit).Dot(d))))
			code := func(c int) float64 { return 2*float64(atlas.Code(0.5+0.5*out.at(Normal, c, x, y), 65535))/65535 - 1 }
			back := b.Low.Frames.Decode(low, p.Tri, p.U, p.V, code(0), code(1), code(2)).Unit()
			e, ok := b.Low.encode(p.Tri, p.U, p.V, back)
			require.True(t, ok)
			w, _ := b.Low.encode(p.Tri, p.U, p.V, hit.Unit())
			off = max(off, e.Sub(w).MaxAbs())
		}
	}
	require.Greater(t, n, size*size*4/5)
	require.Less(t, worst, 1e-3)
	require.Less(t, off, 2.0/65535)
}

// mean of a plane over a part of the picture.
func (m *maps) mean(k Kind, in func(x, y float64) bool) float64 {
	sum, n := 0.0, 0.0
	for y := range m.size {
		for x := range m.size {
			if in((float64(x)+0.5)/float64(m.size), (float64(y)+0.5)/float64(m.size)) {
				sum, n = sum+m.at(k, 0, x, y), n+1
			}
		}
	}
	return sum / n
}

// Occlusion of pits and grooves, cosine-weighted, is that of the closed forms within 1 %: a spherical pit of opening radius a and depth d
// has a^2/(a^2 + d^2) everywhere in it; a groove w wide and d deep (w/2)/sqrt(w^2/4 + d^2) in the middle of its floor; a V of 90 degrees
// has a mean of sin(45 degrees). View factors of strips and of a sphere onto itself: Howell, A Catalog of Radiation Heat Transfer
// Configuration Factors.
func TestOcclusion(t *testing.T) {
	bake := func(m *mesh.Mesh, size, rays int) *maps {
		b := &Bake{Low: NewBase(m, 0.1), High: solid(t, m), Occlusion: Occlusion{Rays: rays}}
		return bakeIn(t, b, size, 1, Cover, Ambient)
	}
	for _, d := range []float64{1, 0.5} { // of opening radius 1
		R := (1 + d*d) / (2 * d)
		most := math.Acos((R - d) / R)
		pit := over(96, 48, func(u, v float64) geom.Vec {
			s, c := math.Sincos(2 * math.Pi * u)
			a := most * (1 - v) // the bottom below, the rim above, seen from inside
			return geom.Vec{X: R * math.Sin(a) * s, Y: R * math.Sin(a) * c, Z: R - R*math.Cos(a)}
		})
		for v, p := range pit.P {
			pit.N[v] = geom.Vec{Z: R}.Sub(p).Unit()
		}
		require.Greater(t, pit.N[0].Z*pit.P[pit.Tri[0][1]].Sub(pit.P[pit.Tri[0][0]]).Cross(pit.P[pit.Tri[0][2]].Sub(pit.P[pit.Tri[0][0]])).Z, 0.0)
		out := bake(pit, 32, 256)
		in := func(lo, hi float64) func(u, v float64) bool {
			return func(_, v float64) bool { return v > lo && v < hi }
		}
		for _, band := range [][2]float64{{0.05, 0.3}, {0.3, 0.7}, {0.7, 0.95}} {
			require.InEpsilon(t, 1/(1+d*d), out.mean(Ambient, in(band[0], band[1])), 0.01, "%v %v", d, band)
		}
	}
	// Long grooves: floor between walls; their length is 60 times their width.
	groove := over(63, 8, func(u, v float64) geom.Vec {
		y := 30 * (1 - 2*v)
		i := math.Round(63 * u)
		switch {
		case i <= 21:
			return geom.Vec{X: -0.5, Y: y, Z: 1 - i/21}
		case i <= 42:
			return geom.Vec{X: (i-21)/21 - 0.5, Y: y}
		}
		return geom.Vec{X: 0.5, Y: y, Z: (i - 42) / 21}
	})
	hard(groove)
	out := bake(groove, 126, 64)
	middle := func(u, v float64) bool { return math.Abs(u-0.5) < 0.009 && math.Abs(v-0.5) < 0.4 }
	require.InEpsilon(t, 0.5/math.Sqrt(0.25+1), out.mean(Ambient, middle), 0.01)
	floor := func(u, v float64) bool { return math.Abs(u-0.5) < 1.0/6 && math.Abs(v-0.5) < 0.4 }
	require.InEpsilon(t, math.Sqrt(2)-1, out.mean(Ambient, floor), 0.01)
	vee := over(32, 8, func(u, v float64) geom.Vec {
		x := 2*u - 1
		return geom.Vec{X: x, Y: 40 * (1 - 2*v), Z: math.Abs(x)}
	})
	hard(vee)
	out = bake(vee, 96, 64)
	require.InEpsilon(t, math.Sin(math.Pi/4), out.mean(Ambient, func(_, v float64) bool { return math.Abs(v-0.5) < 0.4 }), 0.01)
}

// hard gives every triangle corners and the normal of its own.
func hard(m *mesh.Mesh) {
	q := &mesh.Mesh{}
	for _, t := range m.Tri {
		n := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]])).Unit()
		k := uint32(len(q.P))
		for _, v := range t {
			q.P, q.UV, q.N = append(q.P, m.P[v]), append(q.UV, m.UV[v]), append(q.N, n)
		}
		q.Tri = append(q.Tri, [3]uint32{k, k + 1, k + 2})
	}
	*m = *q
}

// What lies beyond the reach does not darken, and a shell that is no blocker does not at all.
func TestReachAndBlockers(t *testing.T) {
	low := sheetOf(4, 1, flat)
	lid := sheetOf(4, 20, func(x, y float64) float64 { return 0.5 })
	both := solid(t, low, lid)
	for _, c := range []struct {
		reach   float64
		blocker *Solid
		want    float64
	}{{0, both, 0}, {0.4, both, 1}, {0, nil, 1}, {1, both, 0.25}} { // within 1 mm of the lid: cosines over 0.5 of the cosine-weighted half space
		b := &Bake{Low: NewBase(low, 0.1), High: solid(t, low), Blocker: c.blocker, Occlusion: Occlusion{Rays: 256, Reach: c.reach}}
		out := bakeIn(t, b, 16, 1, Ambient)
		require.InDelta(t, c.want, out.mean(Ambient, func(_, _ float64) bool { return true }), 0.005)
	}
}

// A coarse ball with smooth normals stands free everywhere: its own facets do not darken it.
func TestCoarseFacetsDoNotDarken(t *testing.T) {
	ball := bandOf(16, 10, 12)
	b := &Bake{Low: NewBase(ball, 0.1), High: solid(t, ball), Occlusion: Occlusion{Rays: 64}}
	out := bakeIn(t, b, 64, 1, Ambient)
	for y := 6; y < 58; y++ {
		for x := range 64 {
			require.Equal(t, 1.0, out.at(Ambient, 0, x, y))
		}
	}
}

// Thickness in a cone of 30 degrees, cosine-weighted: of a slab 2 d/(1 + cos a), of a ball 2 R x 2 (1 - cos^3 a)/(3 sin^2 a); own
// integrals over the cone.
func TestThickness(t *testing.T) {
	a := geom.Radians(30)
	top, bottom := sheetOf(4, 1, flat), sheetOf(4, 40, func(x, y float64) float64 { return -0.7 })
	bottom.TurnOver()
	b := &Bake{Low: NewBase(top, 0.1), High: solid(t, top, bottom), Thickness: Thickness{Rays: 64, Angle: a, Reach: 50}}
	all := func(_, v float64) bool { return v > 0.2 && v < 0.8 }
	out := bakeIn(t, b, 16, 1, Thick)
	require.InEpsilon(t, 2*0.7/(1+math.Cos(a)), out.mean(Thick, all), 0.002)
	require.Zero(t, out.at(Thick, 1, 8, 8))
	ball := bandOf(240, 120, 6)
	b = &Bake{Low: NewBase(ball, 0.1), High: solid(t, ball), Thickness: Thickness{Rays: 64, Angle: a, Reach: 50}}
	out = bakeIn(t, b, 32, 1, Thick)
	require.InEpsilon(t, 12*2*(1-math.Pow(math.Cos(a), 3))/(3*math.Pow(math.Sin(a), 2)), out.mean(Thick, func(_, v float64) bool { return v > 0.4 && v < 0.6 }), 0.005)
}

// Ids are those of most samples and never between two; masks are shares, soft ones by a Gaussian in mm; colours are carried in linear
// light.
func TestIDsAndColour(t *testing.T) {
	left, right := sheetOf(2, 1, flat), sheetOf(2, 1, flat)
	for i := range left.P {
		left.P[i].X, right.P[i].X = 0.5*left.P[i].X-0.5, 0.5*right.P[i].X+0.5
	}
	low := sheetOf(4, 1, flat)
	s := solid(t, left, right)
	s.Part[0].Look.BaseColour, s.Part[1].Look.BaseColour = colour.RGB{0.5, 0.25, 1}, colour.RGB{0, 0.5, 0.5}
	b := &Bake{Low: NewBase(low, 0.1), High: s, Soft: 0.2}
	out := bakeIn(t, b, 33, 2, Cover, IDs, Masks, Colour)
	require.Equal(t, []string{"a", "b"}, b.Names())
	for y := range 33 {
		for x := range 33 {
			want := 1.0
			if x > 16 {
				want = 2
			}
			if x != 16 {
				require.Equal(t, want, out.at(IDs, 0, x, y))
			}
			if y > 3 && y < 29 && x > 3 && x < 29 {
				// The normal distribution's share on the left of the border, from softRays places.
				at := 2*(float64(x)+0.5)/33 - 1
				require.InDelta(t, 0.5*math.Erfc(at/0.2/math.Sqrt2), out.at(Masks, 0, x, y), 0.1, "%d %d", x, y)
				require.InDelta(t, 1, out.at(Masks, 0, x, y)+out.at(Masks, 1, x, y), 1e-6)
			}
		}
	}
	require.InDelta(t, 0.25, out.at(Colour, 0, 16, 16), 1e-6) // half of each, in linear light
	require.InDelta(t, 0.375, out.at(Colour, 1, 16, 16), 1e-6)
	// Vertex colours: flat ones are ids.
	s, err := NewSolid([]Part{{Name: "reed", Mesh: low, Colour: make([]colour.RGB, len(low.P))}}, 1)
	require.NoError(t, err)
	for i, p := range low.P {
		if s.colour[i] = (colour.RGB{1, 0, 0}); p.X > 0.3 {
			s.colour[i] = colour.RGB{0, 1, 0}
		}
	}
	b = &Bake{Low: NewBase(low, 0.1), High: s, ID: ByColour}
	out = bakeIn(t, b, 16, 3, IDs)
	require.Equal(t, []string{"#00ff00", "#ff0000"}, b.Names())
	require.Equal(t, []float64{2, 1}, []float64{out.at(IDs, 0, 2, 8), out.at(IDs, 0, 14, 8)})
	require.ErrorContains(t, (&Bake{Low: NewBase(low, 0.1), High: solid(t, low), ID: ByColour}).Prepare([]Kind{IDs}), "no part of the high mesh has vertex colours")
}

// A wall's far side is not taken for its near one; the nearest skin may be asked for.
func TestFacing(t *testing.T) {
	low := sheetOf(4, 1, flat)
	inside := sheetOf(4, 1, func(x, y float64) float64 { return 0.2 })
	inside.TurnOver()
	skin, veil := sheetOf(4, 1, func(x, y float64) float64 { return -0.05 }), sheetOf(4, 1, func(x, y float64) float64 { return 0.3 })
	b := &Bake{Low: NewBase(low, 0.5), High: solid(t, inside, skin)}
	out := bakeIn(t, b, 8, 1, Height)
	require.InDelta(t, -0.05, out.at(Height, 0, 4, 4), 1e-6)
	require.Equal(t, 64, out.count.Back)
	b.High = solid(t, inside, skin, veil)
	require.InDelta(t, 0.3, bakeIn(t, b, 8, 1, Height).at(Height, 0, 4, 4), 1e-6)
	b.Nearest = true
	require.InDelta(t, -0.05, bakeIn(t, b, 8, 1, Height).at(Height, 0, 4, 4), 1e-6)
}

// A block is made without taking memory.
func TestNoAllocation(t *testing.T) {
	m := sheetOf(8, 5, flat)
	b := &Bake{Low: NewBase(m, 0.5), High: solid(t, m), Occlusion: Occlusion{Rays: 4}}
	kinds := []Kind{Cover, Normal, Height, Ambient}
	require.NoError(t, b.Prepare(kinds))
	s := atlas.NewSheet(m, 1001, 128, 128, 1)
	var k Brush
	b.Block(s, 0, kinds, &k)
	require.LessOrEqual(t, testing.AllocsPerRun(1, func() { b.Block(s, 0, kinds, &k) }), 2.0)
}
