package prepare

import (
	"math"
	"testing"

	"catchlight/scene"
	"catchlight/scene/eye"
	"catchlight/scene/mesh"
	"catchlight/scene/shells"
)

// The walls of an iris' crypts stand close to each other and are tissue all the same; the pit behind the pupil is a cavity. The
// built eye knows which is which.
func TestCryptsAreNoCavity(t *testing.T) {
	d := scene.Default()
	par, err := d.Objects[0].Eye.Params()
	if err != nil {
		t.Fatal(err)
	}
	e, err := eye.Grow(par)
	if err != nil {
		t.Fatal(err)
	}
	p := &preparer{}
	outer, err := p.hierarchy(e.Outer)
	if err != nil {
		t.Fatal(err)
	}
	inner, err := p.hierarchy(e.Inner)
	if err != nil {
		t.Fatal(err)
	}
	part := shells.Cavity(e.Inner, caster(inner), caster(outer), 2)
	var iris, wrong, pit, found float64
	for i, q := range e.Inner.Tri {
		a, b, c := e.Inner.P[q[0]], e.Inner.P[q[1]], e.Inner.P[q[2]]
		area := b.Sub(a).Cross(c.Sub(a)).Len()
		m := a.Add(b).Add(c).Mul(1.0 / 3)
		r := math.Hypot(m.X, m.Y)
		hit := part[i] == mesh.Backing
		switch {
		case e.Inner.Part[i] == mesh.Backing:
			pit += area
			if hit {
				found += area
			}
		case m.Z > 0 && r > 2.5 && r < 5.3:
			iris += area
			if hit {
				wrong += area
			}
		}
	}
	if wrong > 0.002*iris || found < 0.85*pit {
		t.Errorf("%.2f %% of the iris counts as a cavity, and %.0f %% of the pit do", 100*wrong/iris, 100*found/pit)
	}
}
