package bake

import (
	"errors"
	"fmt"
	"math"

	"catchlight/render/accel"
	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// Part is a mesh of a file with the look that it has. N is there; UV and Colour may be nil.
type Part struct {
	Name   string
	Mesh   *mesh.Mesh
	Colour []colour.RGB // linear, one a vertex
	Look   asset.Material
}

// Solid is what rays meet: parts of a high mesh that belong together. It does not change once it is used, so any number of workers may.
type Solid struct {
	Mesh *mesh.Mesh // of all parts
	Of   []uint16   // a triangle each: its part
	Part []Part     // without their meshes

	colour []colour.RGB // a vertex each; nil where no part has any
	look   []texture.Map
	curve  []float64 // mean curvature a vertex
	bvh    *accel.BVH
}

// NewSolid prepares parts.
func NewSolid(parts []Part, workers int) (*Solid, error) {
	s := &Solid{}
	if len(parts) == 0 || len(parts) > math.MaxUint16 {
		return nil, fmt.Errorf("%d parts, must be 1 to %d", len(parts), math.MaxUint16)
	}
	coloured, uv := false, true
	for i := range parts {
		coloured = coloured || parts[i].Colour != nil
		uv = uv && parts[i].Mesh.UV != nil
	}
	s.Mesh = parts[0].Mesh
	if len(parts) > 1 {
		s.Mesh = &mesh.Mesh{}
		for i := range parts {
			s.Mesh.Append(parts[i].Mesh)
		}
		if !uv {
			s.Mesh.UV = make([]geom.UV, 0, len(s.Mesh.P))
			for i := range parts {
				q := parts[i].Mesh.UV
				if q == nil {
					q = make([]geom.UV, len(parts[i].Mesh.P))
				}
				s.Mesh.UV = append(s.Mesh.UV, q...)
			}
		}
	}
	s.Of = make([]uint16, 0, len(s.Mesh.Tri))
	for i := range parts {
		for range parts[i].Mesh.Tri {
			s.Of = append(s.Of, uint16(i))
		}
		if coloured {
			c := parts[i].Colour
			if c == nil {
				c = make([]colour.RGB, len(parts[i].Mesh.P))
				for k := range c {
					c[k] = colour.Grey(1)
				}
			}
			s.colour = append(s.colour, c...)
		}
		p := parts[i]
		p.Mesh, p.Colour = nil, nil
		s.Part = append(s.Part, p)
		s.look = append(s.look, texture.FromImage(p.Look.BaseMap, p.Look.Wrap))
	}
	var err error
	if s.bvh, err = accel.Build(s.Mesh.P, s.Mesh.Tri, accel.Options{Workers: workers}); errors.Is(err, accel.ErrEmpty) {
		return nil, errors.New("there are no triangles")
	}
	return s, err
}

// Curved makes ready what maps of curvature need.
func (s *Solid) Curved() {
	if s.curve == nil {
		s.curve = mesh.MeanCurvature(s.Mesh)
	}
}

// Coloured reports whether the parts bring more than one colour: of vertices, of pictures, or each its own.
func (s *Solid) Coloured() bool {
	if s.colour != nil {
		return true
	}
	for i := range s.Part {
		if l := &s.Part[i].Look; l.BaseMap != nil || l.BaseColour != s.Part[0].Look.BaseColour {
			return true
		}
	}
	return false
}

// Spot is a place on a solid.
type Spot struct {
	P, N, Facet geom.Vec // N smooth, Facet that of the triangle; both unit
	T           float64  // along the ray
	Tri         uint32
	U, V        float64
}

// spot fills in what lies at a hit of the ray o + t d.
func (s *Solid) spot(o, d geom.Vec, h *accel.Hit) (q Spot) {
	t := s.Mesh.Tri[h.Prim]
	a, b, c := s.Mesh.P[t[0]], s.Mesh.P[t[1]], s.Mesh.P[t[2]]
	q = Spot{P: geom.Mix(a, b, c, h.U, h.V), T: h.T, Tri: h.Prim, U: h.U, V: h.V}
	q.Facet = b.Sub(a).Cross(c.Sub(a)).Unit()
	q.N = geom.Mix(s.Mesh.N[t[0]], s.Mesh.N[t[1]], s.Mesh.N[t[2]], h.U, h.V).Unit()
	if !q.Facet.Finite() {
		q.Facet = q.N
	}
	if !q.N.Finite() {
		q.N = q.Facet
	}
	return q
}

// albedo is the colour at a place, linear.
func (s *Solid) albedo(q *Spot) colour.RGB {
	k := s.Of[q.Tri]
	c := s.Part[k].Look.BaseColour
	if s.Part[k].Look.Name == "" && c == (colour.RGB{}) {
		c = colour.Grey(1)
	}
	t := s.Mesh.Tri[q.Tri]
	w := [3]float64{1 - q.U - q.V, q.U, q.V}
	if s.look[k].Valid() && s.Mesh.UV != nil {
		var uv geom.UV
		for i, v := range t {
			uv.U, uv.V = uv.U+w[i]*s.Mesh.UV[v].U, uv.V+w[i]*s.Mesh.UV[v].V
		}
		m := s.look[k].RGB(uv, 0)
		c = colour.RGB{c[0] * m[0], c[1] * m[1], c[2] * m[2]}
	}
	if s.colour != nil {
		var m colour.RGB
		for i, v := range t {
			m = m.Add(s.colour[v].Scale(w[i]))
		}
		c = colour.RGB{c[0] * m[0], c[1] * m[1], c[2] * m[2]}
	}
	return c
}

// curvature is the mean curvature at a place.
func (s *Solid) curvature(q *Spot) float64 {
	t := s.Mesh.Tri[q.Tri]
	return (1-q.U-q.V)*s.curve[t[0]] + q.U*s.curve[t[1]] + q.V*s.curve[t[2]]
}

// meet finds the first surface of the solid that faces the ray, and counts those before it that do not.
func (s *Solid) meet(k *accel.Scratch, o, d geom.Vec, far float64) (q Spot, ok, back bool) {
	var h accel.Hit
	for near := 0.0; s.bvh.Closest(k, o, d, near, far, &h); near = h.T + 1e-6*far {
		s.bvh.Refine(o, d, &h)
		if q = s.spot(o, d, &h); q.Facet.Dot(d) < 0 {
			return q, true, back
		}
		back = true
		if !(h.T+1e-6*far > near) {
			break
		}
	}
	return q, false, back
}

// nearest finds the surface of the solid that faces the ray and lies nearest to the parameter at.
func (s *Solid) nearest(k *accel.Scratch, o, d geom.Vec, at, far float64) (q Spot, ok, back bool) {
	near := 0.0
	for range 64 {
		var h accel.Hit
		if !s.bvh.Closest(k, o, d, near, far, &h) {
			break
		}
		s.bvh.Refine(o, d, &h)
		near = max(near, h.T) + 1e-6*far
		p := s.spot(o, d, &h)
		switch {
		case p.Facet.Dot(d) >= 0:
			back = true
		case !ok || abs(p.T-at) < abs(q.T-at):
			q, ok = p, true
		}
		if ok && h.T > at && h.T-at > abs(q.T-at) {
			break
		}
	}
	return q, ok, back
}

func abs(x float64) float64 {
	if x < 0 {
		return -x
	}
	return x
}
