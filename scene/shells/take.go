package shells

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Source says how a shell stands in its file and how fine it is to be.
type Source struct {
	What       string      // "outer" or "inner", for messages
	Node       string      // its name in the file, for messages
	Factor     float64     // to mm
	Turn       geom.Affine // to the axes of an eye: +Z out of the cornea, +Y up
	FacetError float64     // mm, how far facets may lie from the smooth surface
	Subdivide  *int        // levels of subdivision; nil takes as many as FacetError asks for
}

// Take scales, turns, welds, subdivides and closes one shell, which it changes, and says in notes what it found and did.
// Loop's rules draw a surface in; it is stretched back about its middle so that both poles stay where they were.
func Take(m *mesh.Mesh, s *Source, rays Tracer) (out *mesh.Mesh, notes []string, err error) {
	for i := range m.P {
		m.P[i] = s.Turn.Vector(m.P[i].Mul(s.Factor))
		m.N[i] = s.Turn.Vector(m.N[i])
		if !m.P[i].Finite() || m.P[i].MaxAbs() > 1e9 {
			return nil, notes, fmt.Errorf("asset: the %s shell reaches %g mm after factor %g; at most 1e9 mm", s.What, m.P[i].MaxAbs(), s.Factor)
		}
	}
	box := m.Bounds()
	if !(box.Size().Z > 0) {
		return nil, notes, fmt.Errorf("asset: the %s shell has no extent along the axis", s.What)
	}
	m = mesh.Weld(m, 1e-6*box.Size().MaxAbs())
	open, odd := mesh.Closed(m)
	switch {
	case odd > 0 && s.What == "inner":
		return nil, notes, fmt.Errorf("asset: the inner shell (%s) can't be closed: %d edges do not join two triangles of one winding (and %d are open); scattering needs a closed volume",
			s.Node, odd, open)
	case odd > 0:
		notes = append(notes, fmt.Sprintf("the outer shell (%s) is not closed: %d edges are open and %d do not join two triangles of one winding", s.Node, open, odd))
	case m.Volume() < 0:
		notes = append(notes, fmt.Sprintf("the %s shell was inside out; its triangles are turned", s.What))
		m.TurnOver()
		mesh.Normals(m)
	}
	levels, coarse := mesh.LevelsFor(m, crease, s.FacetError, 4, 1<<20)
	if s.Subdivide != nil {
		levels = *s.Subdivide
	}
	if levels > 0 {
		source := m
		if m, err = mesh.Subdivide(m, levels); err != nil {
			return nil, notes, fmt.Errorf("asset.subdivide: %s shell: %w", s.What, err)
		}
		now := m.Bounds()
		k := box.Size().Z / now.Size().Z
		from, to := now.Centre(), box.Centre()
		for i := range m.P {
			m.P[i] = m.P[i].Sub(from).Mul(k).Add(to)
		}
		most, mean := deviation(source, m, rays)
		notes = append(notes, fmt.Sprintf("the %s shell's smooth surface runs %.2g mm from the file's vertices in the mean, %.2g mm at most", s.What, mean, most))
		notes = append(notes, fmt.Sprintf("the %s shell's facets lie up to %.3g mm from a smooth surface; %d levels of subdivision make it %.2g mm", s.What, coarse, levels, mesh.FacetError(m, crease)))
	}
	out, more, err := shut(s.What, m)
	return out, append(notes, more...), err
}

// deviation returns how far the vertices of the source lie from the surface made of it, at most and in the mean, along
// their normals.
func deviation(source, made *mesh.Mesh, rays Tracer) (most, mean float64) {
	cast, err := rays(made)
	if err != nil {
		return
	}
	ray := cast()
	far := made.Bounds().Size().MaxAbs()
	step, n := max(1, len(source.P)/5000), 0.0
	for i := 0; i < len(source.P); i += step {
		q, near := source.P[i], far
		for _, d := range []geom.Vec{source.N[i], source.N[i].Neg()} {
			if hit, ok := ray(q.Mad(-1e-6*far, d), d, near); ok {
				near = min(near, math.Abs(hit.T-1e-6*far))
			}
		}
		if near < far {
			most, mean, n = max(most, near), mean+near, n+1
		}
	}
	return most, mean / max(1, n)
}

// crease is the turn (rad) from which an edge between facets is meant to be sharp.
const crease = math.Pi / 3

// shut closes the holes of a shell with caps that absorb: a pupil that is the rim of a hole, a back that is missing.
func shut(what string, m *mesh.Mesh) (out *mesh.Mesh, notes []string, err error) {
	out, holes, err := mesh.Close(m)
	switch {
	case err != nil && what == "inner":
		return nil, nil, fmt.Errorf("asset: the inner shell can't be closed: %w", err)
	case err != nil:
		return m, nil, nil // its edges are in the notes
	case holes > 0:
		notes = append(notes, fmt.Sprintf("the %s shell is open at %d rims; caps that absorb close them", what, holes))
	}
	if what == "inner" && math.Abs(out.Volume()) < 1e-9*math.Pow(out.Bounds().Size().Len(), 3) {
		return nil, nil, fmt.Errorf("asset: the inner shell encloses no volume, with caps over its %d holes; scattering needs an object", holes)
	}
	if holes > 0 && out.Volume() < 0 {
		notes = append(notes, fmt.Sprintf("the %s shell was inside out; its triangles are turned", what))
		out.TurnOver()
		mesh.Normals(out)
	}
	return out, notes, nil
}
