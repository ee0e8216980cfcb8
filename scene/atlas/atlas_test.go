package atlas

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// fan is a disc of n triangles about the middle of the picture, with corners on odd places.
func fan(n int) *mesh.Mesh {
	m := &mesh.Mesh{P: []geom.Vec{{}}, UV: []geom.UV{{U: 0.5, V: 0.5}}}
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		m.P, m.UV = append(m.P, geom.Vec{X: c, Y: s}), append(m.UV, geom.UV{U: 0.5 + 0.4*c, V: 0.5 - 0.4*s})
		m.Tri = append(m.Tri, [3]uint32{0, uint32(1 + i), uint32(1 + (i+1)%n)})
	}
	return m
}

// Every sample of a disc belongs to one triangle, none to two, and its place is where the sample lies.
func TestDraw(t *testing.T) {
	for _, n := range []int{1, 3} {
		s := NewSheet(fan(24), 1001, 200, 260, n)
		require.Equal(t, 2*3, s.Blocks())
		in, off := 0, 0.0
		var b Block
		for k := range s.Blocks() {
			s.Draw(k, &b)
			require.Zero(t, b.Twice)
			for y := b.Y0; y < b.Y1; y++ {
				for x := b.X0; x < b.X1; x++ {
					for i, p := range b.Texel(x, y) {
						if p.Tri == None {
							continue
						}
						in++
						c := s.Mesh.Tri[p.Tri]
						q := [3]geom.UV{s.Mesh.UV[c[0]], s.Mesh.UV[c[1]], s.Mesh.UV[c[2]]}
						w := 1 - p.U - p.V
						u := (w*q[0].U + p.U*q[1].U + p.V*q[2].U) * 200
						v := (w*q[0].V + p.U*q[1].V + p.V*q[2].V) * 260
						off = max(off, math.Abs(u-float64(x)-(float64(i%n)+0.5)/float64(n)), math.Abs(v-float64(y)-(float64(i/n)+0.5)/float64(n)))
					}
				}
			}
		}
		// The disc's area as a polygon of 24 corners, in samples.
		require.InEpsilon(t, 12*math.Sin(2*math.Pi/24)*0.16*200*260*float64(n*n), in, 2e-3)
		require.Less(t, off, 1e-9)
	}
	// A second layer is seen.
	m := fan(24)
	m.Append(fan(24))
	s := NewSheet(m, 1001, 64, 64, 1)
	var b Block
	s.Draw(0, &b)
	require.Greater(t, b.Twice, 1000)
	require.Equal(t, b.Both[0]+24, b.Both[1])
}

// A square on the edge between two tiles is on both; what has no number is told.
func TestTiles(t *testing.T) {
	at := func(u, v, s float64) *mesh.Mesh {
		return &mesh.Mesh{P: make([]geom.Vec, 3), UV: []geom.UV{{U: u, V: v}, {U: u + s, V: v}, {U: u, V: v + s}}, Tri: [][3]uint32{{0, 1, 2}}}
	}
	for _, c := range []struct {
		u, v, s float64
		want    []int
	}{{0, 0, 1, []int{1001}}, {0.5, 0.1, 0.8, []int{1001, 1002}}, {3.1, -0.9, 0.2, []int{1014}}} {
		got, err := Tiles(at(c.u, c.v, c.s))
		require.NoError(t, err)
		require.Equal(t, c.want, got)
	}
	_, err := Tiles(at(-0.5, 0.2, 0.3))
	require.ErrorContains(t, err, "1 triangles have texture coordinates where no tile has a number, the first at u -0.5, v 0.8")
	// In its tile it lies where it does in the first.
	var a, b Block
	NewSheet(at(0.25, 0.375, 0.5), 1001, 64, 64, 1).Draw(0, &a)
	NewSheet(at(3.25, -0.625, 0.5), 1014, 64, 64, 1).Draw(0, &b)
	for i := range a.Place {
		require.Equal(t, a.Place[i].Tri, b.Place[i].Tri)
	}
}

// The nearest covered texel is the nearest of all by trying them all; the rest is filled, and what is covered stays.
func TestPadding(t *testing.T) {
	const w, h = 61, 47
	r := rand.New(rand.NewPCG(1, 2))
	for _, share := range []float64{0.002, 0.05, 0.5} {
		cover, plane := make([]bool, w*h), make([]float32, w*h)
		for i := range cover {
			if r.Float64() < share || i == 700 {
				cover[i], plane[i] = true, r.Float32()+1
			}
		}
		p := NewPadding(w, h, cover)
		for y := range h {
			for x := range w {
				best := math.Inf(1)
				for i, c := range cover {
					if c {
						best = min(best, math.Pow(float64(i%w-x), 2)+math.Pow(float64(i/w-y), 2))
					}
				}
				nx, ny, d2, ok := p.Nearest(x, y)
				require.True(t, ok && cover[ny*w+nx])
				require.Equal(t, best, d2, "%d %d", x, y)
			}
		}
		for _, reach := range []float64{0, 2} {
			q := append([]float32(nil), plane...)
			p.Fill(q, reach)
			for i := range q {
				nx, ny, d2, _ := p.Nearest(i%w, i/w)
				if cover[i] {
					require.Equal(t, plane[i], q[i])
				} else if reach == 0 || d2 <= 4 {
					require.Equal(t, plane[ny*w+nx], q[i])
				}
				require.True(t, q[i] >= 1 && q[i] <= 2, "%v", q[i])
			}
		}
	}
	empty := NewPadding(4, 4, make([]bool, 16))
	plane := make([]float32, 16)
	empty.Fill(plane, 3)
	require.Equal(t, make([]float32, 16), plane)
}

// Dithered codes have the mean of what they stand for and half a code of deviation (triangular noise and rounding: a quarter of a
// code squared; Lipshitz, Wannamaker and Vanderkooy 1992); plain codes do not.
func TestDither(t *testing.T) {
	for _, v := range []float64{0.3, 0.30196, 100.5 / 255, 0.77} {
		sum, sq, n := 0.0, 0.0, 0.0
		for y := range 256 {
			for x := range 256 {
				d := float64(Dither(v, 255, x, y, 1)) - 255*v
				sum, sq, n = sum+d, sq+d*d, n+1
			}
		}
		require.InDelta(t, 0, sum/n, 0.01)
		require.InDelta(t, 0.5, math.Sqrt(sq/n), 0.01)
	}
	require.Equal(t, 77, Code(0.30196, 255))
	require.Equal(t, []int{0, 255, 0, 65535}, []int{Dither(0, 255, 3, 4, 0), Dither(1, 255, 3, 4, 0), Dither(-1, 255, 1, 1, 0), Dither(2, 65535, 1, 1, 0)})
}
