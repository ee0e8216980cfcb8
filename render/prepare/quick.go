package prepare

import (
	"encoding/json"
	"regexp"
	"slices"
	"strings"

	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/pupil"
)

// What follows makes rough stand-ins of stages that take long, from results that a cache holds of nearly the same inputs, for pictures
// while something is dragged (Options.Rough): another size of pupil as the warp of one that is there, and lids as they were before the eye
// turned. What is made so says it (Prepared.Rough) and is never kept as the stage's own result.

// near returns the last result of a stage whose inputs are the given ones after like was applied to both; exact says that its inputs are
// the given ones. It is nil where there is none.
func (c *Cache) near(slot, inputs string, like func(inputs string) string) (k *kept, exact bool) {
	if c == nil {
		return nil, false
	}
	c.mu.Lock()
	list := slices.Clone(c.slots[slot])
	c.mu.Unlock()
	want := like(inputs)
	slices.Reverse(list)
	fresh := func(k *kept) bool {
		return !slices.ContainsFunc(k.files, func(s Stamp) bool { return StampOf(s.Path) != s })
	}
	for _, k := range list {
		if k.inputs == inputs && fresh(k) {
			return k, true
		}
	}
	for _, k := range list {
		if like(k.inputs) == want && fresh(k) {
			return k, false
		}
	}
	return nil, false
}

var pupilKey = regexp.MustCompile(`"Pupil":[-+.0-9eE]+`)

// anyPupil leaves out how wide pupils are.
func anyPupil(inputs string) string { return pupilKey.ReplaceAllString(inputs, `"Pupil":0`) }

// anyTurn leaves out how eyes are turned, of the inputs of lids.
func anyTurn(inputs string) string {
	var list []json.RawMessage
	if json.Unmarshal([]byte(inputs), &list) != nil {
		return inputs
	}
	var out strings.Builder
	for i, q := range list {
		if i < lidInputs || (i-lidInputs)%3 != 2 {
			out.Write(q)
			out.WriteByte('\n')
		}
	}
	return out.String()
}

// lidInputs is how many inputs of lids stand before those of each eye: its shells, their files and its turn.
const lidInputs = 3

// warped is how a pupil was made another size.
type warped struct {
	hole       *pupil.Pupil
	wide, root float64
}

// quick returns the shells and tissue of an eye as the warp of ones with another pupil; ok is false where the cache has the eye itself, or
// none that is near.
func (p *preparer) quick(name string, d *scene.Eye) (s *eyeball, c *coat, ok bool) {
	if !p.o.Rough || p.o.Cache == nil || d.Iris.Pupil == 0 {
		return nil, nil, false
	}
	shape, err := json.Marshal(shapeOf(d))
	if err != nil {
		return nil, nil, false
	}
	base, exact := p.o.Cache.near("shells "+name, string(shape), anyPupil)
	if base == nil || exact {
		return nil, nil, false
	}
	from := base.value.(*eyeball)
	if from.innerRelief != nil || from.inner == nil { // a height map is laid on after the warp
		return nil, nil, false
	}
	inputs, err := json.Marshal(p.coatReads(d, nil)) // where colours are seen through the cornea, nothing is near
	if err != nil {
		return nil, nil, false
	}
	coats, _ := p.o.Cache.near("tissue "+name, string(inputs), anyPupil)
	if coats == nil || !strings.Contains(coats.inputs, pupilKey.FindString(base.inputs)) {
		return nil, nil, false
	}
	hole, err := stage(p, "hole "+name, base.inputs, func(*making) (*pupil.Pupil, error) {
		q := pupil.Find(from.inner, geom.Vec{}, geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, d.Limbus.Radius)
		return &q, nil
	})
	if err != nil {
		return nil, nil, false
	}
	by := &warped{hole, d.Iris.Pupil, d.Limbus.Radius - d.Limbus.Width/2}
	made, err := stage(p, "quick shells "+name, []any{base.inputs, by.wide}, func(*making) (*eyeball, error) { return p.warp(from, by) })
	if err != nil {
		return nil, nil, false // what is wrong is said where it is made
	}
	tissue, err := stage(p, "quick tissue "+name, []any{coats.inputs, by.wide}, func(*making) (*coat, error) {
		return coats.value.(*coat).warp(by, p.o.WorkerCount()), nil
	})
	if err != nil {
		return nil, nil, false
	}
	return made, tissue, true
}

// warp returns shells with another pupil. The outer shell stays; depths are those of the tissue before, which set odds alone.
func (p *preparer) warp(from *eyeball, by *warped) (*eyeball, error) {
	s := *from
	m := *from.inner
	m.P, m.N = slices.Clone(m.P), nil
	if err := by.hole.Warp(&m, by.wide, by.root); err != nil {
		return nil, err
	}
	s.inner = &m
	var ok bool
	if s.innerBVH, ok = from.innerBVH.Refit(m.P); !ok {
		var err error
		if s.innerBVH, err = p.hierarchy(s.inner); err != nil {
			return nil, err
		}
	}
	return &s, nil
}

// warp returns the maps of tissue that was drawn out or squeezed so.
func (c *coat) warp(by *warped, workers int) *coat {
	out := *c
	back := by.hole.Unwarp(by.wide, by.root)
	at := func(v geom.Vec) geom.Vec {
		if !(v.Z > 0) {
			return v
		}
		plane := by.hole.Plane
		x, y := back(v.X*plane/v.Z, v.Y*plane/v.Z)
		return geom.Vec{X: x, Y: y, Z: plane}
	}
	drawn := func(m *frozen.VolumeMap) *frozen.VolumeMap {
		return frozen.NewVolumeMap(m.Side(), func(_ int, v geom.Vec) colour.RGB { return m.At(at(v)) }, workers)
	}
	out.colour, out.alpha = drawn(c.colour), drawn(c.alpha)
	return &out
}
