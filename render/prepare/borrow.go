package prepare

import (
	"fmt"
	"math"

	"catchlight/scene"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/pupil"
	"catchlight/scene/texture"
)

// borrow grows the built-in eye beside an imported one: its shell stands in for one that the file lacks, and its colours
// for those that neither the file nor the scene bring. The built-in eye is grown at its own size, for which its numbers
// are sound, and scaled to the imported globe.
//
// hole is the pupil of the imported inner shell, on which the built-in eye's comes to lie.
func (s *eyeball) borrow(d *scene.Eye, hole pupil.Pupil) error {
	par := eye.Defaults()
	pat, err := eye.Pattern(d.Iris.Pattern)
	if err != nil {
		return err
	}
	par.Pattern, par.Seed, par.Veins, par.Paint = pat, uint64(d.Seed), d.Sclera.Veins, d.Paint
	par.MapSize = min(d.MapSize, 2048)
	lead := s.outer
	if lead == nil {
		lead = s.inner
	}
	size := lead.Bounds().Size()
	k := (size.X + size.Y) / 4 / par.GlobeRadius
	switch {
	case hole.Open:
		par.PupilDiameter = max(1.5, min(8, 2*hole.Radius/k))
	case d.Iris.Pupil > 0:
		par.PupilDiameter = max(1.5, min(8, d.Iris.Pupil/k))
	}
	grown, err := eye.Build(par)
	if err != nil {
		return fmt.Errorf("the built-in eye: %w", err)
	}
	// A little smaller within, a little larger without: an imported globe is seldom a sphere.
	const slack = 0.015
	scaled := func(m *mesh.Mesh, k float64) *mesh.Mesh {
		q := *m
		q.P = make([]geom.Vec, len(m.P))
		for i, v := range m.P {
			q.P[i] = v.Mul(k)
		}
		return &q
	}
	if s.outer == nil {
		s.outer = scaled(grown.Outer, k*(1+slack))
		s.notes = append(s.notes, "the outer shell is borrowed from the built-in eye")
	}
	if s.inner == nil {
		s.inner = scaled(grown.Inner, k*(1-slack))
		s.notes = append(s.notes, "the inner shell is borrowed from the built-in eye")
	}
	// As angles at the globe's centre, the built-in eye's pupil and limbus come to lie on the imported ones.
	from, to := math.Asin(min(1, d.Limbus.Radius/(k*par.GlobeRadius))), math.Asin(par.LimbusRadius/par.GlobeRadius)
	edge := math.Atan2(par.PupilDiameter/2, grown.IrisZ)
	margin := edge * from / to
	if hole.Open {
		margin = min(0.9*from, math.Atan2(hole.Radius, hole.Lip))
	}
	s.lent = func(v geom.Vec) geom.UV {
		theta, rho := math.Acos(max(-1, min(1, v.Z))), math.Hypot(v.X, v.Y)
		switch {
		case theta < margin:
			theta *= edge / margin
		case theta < from:
			theta = edge + (theta-margin)*(to-edge)/(from-margin)
		default:
			theta = to + (theta-from)*(math.Pi-to)/(math.Pi-from)
		}
		sin, cos := math.Sincos(theta)
		if rho > 0 {
			v = geom.Vec{X: v.X / rho * sin, Y: v.Y / rho * sin, Z: cos}
		}
		q := v.Mul(par.GlobeRadius)
		if v.Z > 0 {
			if math.Tan(theta)*grown.IrisZ < grown.LipRadius {
				q = v.Mul(grown.IrisZ / v.Z)
			}
		}
		return grown.SurfaceUV(q)
	}
	s.lentMap = texture.FromImage(grown.Flat(), texture.Clamp)
	s.lift(d.Asset.Relief, grown)
	return nil
}

// lift raises the iris of the inner shell along its normals by the built-in iris' relief, scaled to height mm between ridges and crypts.
// What does not face the front stays: the sides of a pit, and the rise to the limbus close under the outer shell.
func (s *eyeball) lift(height float64, grown *eye.Eye) {
	if height == 0 {
		return
	}
	moved, most := 0, 0.0
	mesh.Displace(s.inner, func(i int) float64 {
		v := s.inner.P[i].Unit()
		if v.Z <= 0 {
			return 0
		}
		h := height * grown.Relief(s.lent(v)) * geom.Smoothstep(0.88, 0.96, s.inner.N[i].Z)
		if h != 0 {
			moved, most = moved+1, max(most, math.Abs(h))
		}
		return h
	})
	s.notes = append(s.notes, fmt.Sprintf("the iris is lifted by the built-in one's relief: %d vertices by up to %.2g mm", moved, most))
}
