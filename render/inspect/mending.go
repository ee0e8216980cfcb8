package inspect

import (
	"math"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/mend"
)

// Mending is what is safe to mend of a report: what is done to the file of meshes, and which maps get their green turned over.
type Mending struct {
	Changes mend.Changes
	Green   []string // files
}

// Mend gathers what the findings call safe to mend.
func (p *Report) Mend() (m Mending) {
	add := func(list *[]string, name string) {
		for _, n := range *list {
			if n == name {
				return
			}
		}
		*list = append(*list, name)
	}
	for i := range p.Findings {
		f := &p.Findings[i]
		if !f.Remedy.Mends || f.Severity == Fine {
			continue
		}
		switch {
		case f.Code == "scale.unit":
			m.Changes.Factor = f.Remedy.Factor
		case f.Code == "scale.axis":
			m.Changes.Turn = f.turn
		case f.Code == "mesh.turned" && strings.Contains(f.Title, asset.NormalsNegated):
			add(&m.Changes.Negate, f.Part)
		case f.Code == "mesh.turned":
			add(&m.Changes.Over, f.Part)
		case f.Code == "layers.inside_out":
			add(&m.Changes.Over, f.Part)
			add(&m.Changes.Negate, f.Part)
		case f.Group == Maps:
			add(&m.Green, f.Part)
		}
	}
	return m
}

// axis says whether the eye looks along +Z, as glTF has it (2.0, section 3.4), and which turn by quarters makes it do so.
func (r *Run) axis() {
	s := r.Subject
	e := s.Eye
	if s.Grown || s.Key != "" {
		return // a scene says its axis
	}
	n := e.Frame.N
	off := geom.Degrees(math.Acos(max(-1, min(1, n.Z))))
	f := Finding{Code: "scale.axis", Number: Number{V: off, SE: e.Axis.SE, Unit: "degrees", What: "from +Z to the optical axis", Held: e.Axis.Held, Why: e.Axis.Why}, Range: AtMost(45, "glTF 2.0, section 3.4: +Z is the front"), Good: !e.Axis.Held || off <= 45}
	if !f.Good {
		f.Least, f.Most = Warning, Warning
		front, up := principal(n), geom.Vec{Y: 1}
		if front.Y != 0 {
			up = geom.Vec{Z: 1}
		}
		side := up.Cross(front)
		f.turn = geom.Affine{M: [3]geom.Vec{side, up, front}}
		f.Title = "the eye looks along " + axisName(front)
		f.Shows.Text = "a program that goes by the standard shows its side or back"
		f.Remedy = Remedy{Step: "turn it so that it looks along +Z with +Y up, or say its axis in the scene", Key: "", Mends: true}
	}
	r.Add(f)
}

// principal is the axis of the file that a direction is nearest to.
func principal(n geom.Vec) geom.Vec {
	a := geom.Vec{X: math.Abs(n.X), Y: math.Abs(n.Y), Z: math.Abs(n.Z)}
	switch {
	case a.X >= a.Y && a.X >= a.Z:
		return geom.Vec{X: math.Copysign(1, n.X)}
	case a.Y >= a.Z:
		return geom.Vec{Y: math.Copysign(1, n.Y)}
	}
	return geom.Vec{Z: math.Copysign(1, n.Z)}
}

func axisName(n geom.Vec) string {
	s := "+"
	if n.X+n.Y+n.Z < 0 {
		s = "-"
	}
	switch {
	case n.X != 0:
		return s + "X"
	case n.Y != 0:
		return s + "Y"
	}
	return s + "Z"
}
