package inspect

import (
	"image"
	"image/color"
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/near"
	"catchlight/scene/parallel"
)

// portrait is a plain drawing of a mesh: lit from where it is looked at, without a lens.
type portrait struct {
	frame geom.Frame // N toward who looks, T up
	at    geom.Vec   // in the middle
	half  float64    // mm from the middle to the side
	size  int        // px along a side
}

// sitter is a mesh that is drawn.
type sitter struct {
	tree *near.Tree
	m    *mesh.Mesh
	far  float64
}

func newSitter(m *mesh.Mesh) (*sitter, error) {
	t, err := near.New(m)
	if err != nil {
		return nil, err
	}
	return &sitter{tree: t, m: m, far: 4 * m.Bounds().Size().Len()}, nil
}

// tone is the colour of a place, linear; false leaves it clay.
type tone func(tri int, u, v float64) (colour.RGB, bool)

// draw draws a mesh, by four rays a pixel.
func (q portrait) draw(s *sitter, t tone) *image.NRGBA {
	out := image.NewNRGBA(image.Rect(0, 0, q.size, q.size))
	paper := colour.RGB{0.018, 0.02, 0.022}
	parallel.Runs(q.size, 8, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range q.size {
				var sum colour.RGB
				for k := range 4 {
					px, py := float64(x)+0.25+0.5*float64(k%2), float64(y)+0.25+0.5*float64(k/2)
					sum = sum.Add(q.pixel(s, t, px, py, paper).Scale(0.25))
				}
				code := func(v float64) uint8 { return uint8(255*colour.EncodeSRGB(max(0, min(1, v))) + 0.5) }
				out.SetNRGBA(x, y, color.NRGBA{code(sum[0]), code(sum[1]), code(sum[2]), 255})
			}
		}
	})
	return out
}

func (q portrait) pixel(s *sitter, t tone, px, py float64, paper colour.RGB) colour.RGB {
	k := 2 * q.half / float64(q.size)
	o := q.at.Add(q.frame.World(geom.Vec{X: px*k - q.half, Y: q.half - py*k, Z: s.far}))
	h, ok := s.tree.Ray(o, q.frame.N.Neg(), 0, 2*s.far, -1)
	if !ok {
		return paper
	}
	c := s.m.Tri[h.Tri]
	n := s.m.P[c[1]].Sub(s.m.P[c[0]]).Cross(s.m.P[c[2]].Sub(s.m.P[c[0]])).Unit()
	if s.m.N != nil {
		n = geom.Mix(s.m.N[c[0]], s.m.N[c[1]], s.m.N[c[2]], h.U, h.V).Unit()
	}
	l := q.frame.Local(n)
	light := 0.10 + 0.9*max(0, 0.35*l.X*-1+0.45*l.Y+0.82*l.Z)
	base := colour.RGB{0.36, 0.35, 0.33}
	if t != nil {
		if b, ok := t(h.Tri, h.U, h.V); ok {
			base = b
			light = 0.35 + 0.65*light
		}
	}
	return base.Scale(light)
}

// Draw draws a mesh as seen along -frame.N with frame.T up, in a square of size px; its vertices' values are coloured by a tone, linear.
// Where a value is no number the mesh is grey.
func Draw(m *mesh.Mesh, value []float64, shade func(v float64) colour.RGB, frame geom.Frame, size int) (*image.NRGBA, error) {
	s, err := newSitter(m)
	if err != nil {
		return nil, err
	}
	box := m.Bounds()
	q := portrait{frame: frame, at: box.Centre(), half: 0.52 * box.Size().MaxAbs(), size: size}
	return q.draw(s, func(tri int, u, v float64) (colour.RGB, bool) {
		c := m.Tri[tri]
		x := (1-u-v)*value[c[0]] + u*value[c[1]] + v*value[c[2]]
		return shade(x), !math.IsNaN(x)
	}), nil
}

// project says where a place lies in the picture, px, and how far it is toward who looks.
func (q portrait) project(p geom.Vec) (x, y, toward float64) {
	l := q.frame.Local(p.Sub(q.at))
	k := float64(q.size) / (2 * q.half)
	return (l.X + q.half) * k, (q.half - l.Y) * k, l.Z
}

// ramp is the tone of a share of a range, dark blue over green to yellow, rising in lightness so that it needs no hue: own choice.
func ramp(x float64) colour.RGB {
	x = max(0, min(1, x))
	stops := []colour.RGB{{0.03, 0.02, 0.16}, {0.03, 0.16, 0.33}, {0.04, 0.36, 0.30}, {0.32, 0.60, 0.16}, {0.93, 0.83, 0.22}}
	i := min(len(stops)-2, int(x*float64(len(stops)-1)))
	f := x*float64(len(stops)-1) - float64(i)
	return stops[i].Scale(1 - f).Add(stops[i+1].Scale(f))
}

// shade is the tone of a field over a mesh.
func (f *Field) shade(m *mesh.Mesh) tone {
	return func(tri int, u, v float64) (colour.RGB, bool) {
		c := m.Tri[tri]
		x := (1-u-v)*f.Value[c[0]] + u*f.Value[c[1]] + v*f.Value[c[2]]
		if math.IsNaN(x) {
			return colour.RGB{}, false
		}
		return ramp((x - f.Low) / max(f.High-f.Low, 1e-12)), true
	}
}

// edgesOf darkens the edges of triangles, where they are wide enough to be told apart.
func edgesOf(s *sitter, q portrait) tone {
	px := 2 * q.half / float64(q.size) // mm of a pixel
	return func(tri int, u, v float64) (colour.RGB, bool) {
		c := s.m.Tri[tri]
		a, b, d := s.m.P[c[0]], s.m.P[c[1]], s.m.P[c[2]]
		area2 := b.Sub(a).Cross(d.Sub(a)).Len()
		w := [3]float64{1 - u - v, u, v}
		side := [3]float64{d.Sub(b).Len(), d.Sub(a).Len(), b.Sub(a).Len()}
		for k := range 3 {
			if side[k] > 0 && area2/side[k] > 6*px && w[k]*area2/side[k] < 0.7*px {
				return colour.RGB{0.05, 0.05, 0.06}, true
			}
		}
		return colour.RGB{}, false
	}
}
