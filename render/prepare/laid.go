package prepare

import (
	"fmt"
	"regexp"
	"sync"

	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/mesh"
	"catchlight/scene/shells"
)

// uvSets are the sets of texture coordinates that the shells of a file are read with: n of TEXCOORD_n, or fileOwn.
type uvSets struct{ Outer, Inner int }

// fileOwn is the set that the maps of the file's own material use.
const fileOwn = -1

func setOf(n *int) int {
	if n == nil {
		return fileOwn
	}
	return *n
}

// setsOf returns the sets that the normal and height maps of both shells lie on. A shell has one set for both, as both bend
// light at the same triangles; colours are looked up on their own (see chart).
func setsOf(d *scene.Eye) (uvSets, error) {
	one := func(part string, n *scene.NormalMap, h *scene.HeightMap) (int, error) {
		switch {
		case n != nil && h != nil && setOf(n.UvSet) != setOf(h.UvSet):
			return 0, fmt.Errorf("%s.normal and %s.height lie on one shell, which has one uv_set for both: name the same one in both", part, part)
		case n != nil:
			return setOf(n.UvSet), nil
		case h != nil:
			return setOf(h.UvSet), nil
		}
		return fileOwn, nil
	}
	var q uvSets
	var err error
	if q.Outer, err = one("cornea", d.Cornea.Normal, d.Cornea.Height); err != nil {
		return q, err
	}
	q.Inner, err = one("iris", d.Iris.Normal, d.Iris.Height)
	if err == nil && d.Asset == nil {
		err = q.builtIn(d.Iris.Colour.UvSet, d.Sclera.Colour.UvSet)
	}
	return q, err
}

// builtIn refuses sets that a shell of the built-in eye lacks.
func (q uvSets) builtIn(colours ...*int) error {
	most := max(q.Outer, q.Inner)
	for _, n := range colours {
		most = max(most, setOf(n))
	}
	if most > 0 {
		return fmt.Errorf("uv_set %d: the built-in eye has set 0 alone", most)
	}
	return nil
}

// partOfNode is what the name of a shell may have behind the name of its node: the number of an island or of a primitive.
var partOfNode = regexp.MustCompile(`[/#][0-9]+$`)

// nodes returns the sets by the names of the nodes that the shells are.
func (q uvSets) nodes(a *scene.Asset) (gltfio.Sets, error) {
	out := gltfio.Sets{}
	for _, s := range []struct {
		shell, node string
		set         int
	}{{"outer", a.Outer, q.Outer}, {"inner", a.Inner, q.Inner}} {
		if s.set == fileOwn {
			continue
		}
		if s.node == "" {
			if s.set > 0 {
				return nil, fmt.Errorf("uv_set %d: the %s shell is borrowed from the built-in eye, which has set 0 alone", s.set, s.shell)
			}
			continue
		}
		for _, name := range []string{s.node, partOfNode.ReplaceAllString(s.node, "")} {
			if n, ok := out[name]; ok && n != s.set {
				return nil, fmt.Errorf("uv_set %d and %d: both shells are of the node %q, which is read with one set", n, s.set, name)
			}
			out[name] = s.set
		}
	}
	return out, nil
}

// laid keeps of a normal map what the shells depend on.
func laid(n *scene.NormalMap) *scene.NormalMap {
	if n == nil || n.UvSet == nil {
		return nil
	}
	return &scene.NormalMap{UvSet: n.UvSet}
}

// under returns the shell whose texture coordinates a colour lies on.
func (s *eyeball) under(c *scene.MapSpec) *mesh.Mesh {
	if c.Shell == "outer" {
		return s.outer
	}
	return s.inner
}

// chart says where each direction from the globe's centre finds its colour in a picture.
type chart struct {
	shell string // inner or outer
	mesh  *mesh.Mesh
	exact func(v geom.Vec) geom.UV        // rounded as the table keeps it, so that a cache changes no bit
	at    func(i int, v geom.Vec) geom.UV // for texel i of the volume maps, whose direction is v
}

// chart returns the chart of a colour map of an eye. The shell whose texture coordinates it lies on is met along the line
// from the globe's centre; one that is to be looked up by another set than its normal and height maps is read once more.
func (p *preparer) chart(name, key string, s *eyeball, d *scene.Eye, c *scene.MapSpec, main *chart) (*chart, error) {
	by, err := setsOf(d)
	if err != nil {
		return nil, err
	}
	want := by
	set := &want.Inner
	if c.Shell == "outer" {
		set = &want.Outer
	}
	// A picture of the scene without a set of its own lies on the file's own, whatever the other maps lie on.
	if c.File != "" {
		*set = setOf(c.UvSet)
	}
	if d.Asset == nil {
		want = by
	}
	from := s
	if want != by {
		from, err = stage(p, "shells "+name+" "+key, []any{shapeOf(d), want}, func(m *making) (*eyeball, error) { return p.laidShells(d, want, m) })
		if err != nil {
			return nil, err
		}
	}
	m, shell := from.under(c), "inner"
	if c.Shell == "outer" {
		shell = "outer"
	}
	if c.File != "" && m.UV == nil {
		return nil, fmt.Errorf("the %s shell has no texture coordinates to lay it on", shell)
	}
	if shell == "inner" && from == s {
		return main, nil
	}
	front := func(v geom.Vec) (geom.UV, float64) { return from.front(v) }
	if shell == "outer" {
		first := shells.Front(m, caster(from.outerBVH))
		front = func(v geom.Vec) (geom.UV, float64) {
			uv, _ := first(v)
			return uv, 0
		}
	}
	look, exact, err := p.directions(name+" "+key, []any{want, c.Shell}, d, front)
	if err != nil {
		return nil, err
	}
	return &chart{shell: shell, mesh: m,
		exact: func(v geom.Vec) geom.UV { uv, _ := exact(v); return uv },
		at:    func(i int, v geom.Vec) geom.UV { uv, _ := look(i, v); return uv },
	}, nil
}

type looker func(i int, v geom.Vec) (geom.UV, float64)

// directions returns a look-up by the texels of the volume maps of what f says for their directions. With a cache it is a
// table and a stage of its own, so that a saved picture costs a look-up a texel.
func (p *preparer) directions(name string, inputs []any, d *scene.Eye, f func(v geom.Vec) (geom.UV, float64)) (look looker, exact func(v geom.Vec) (geom.UV, float64), err error) {
	exact = func(v geom.Vec) (geom.UV, float64) {
		uv, w := f(v)
		return geom.UV{U: float64(float32(uv.U)), V: float64(float32(uv.V))}, float64(float32(w))
	}
	if p.o.Cache == nil {
		return func(_ int, v geom.Vec) (geom.UV, float64) { return exact(v) }, exact, nil
	}
	// Of maps that are taken as they are nobody asks.
	table := sync.OnceValues(func() (front, error) {
		return stage(&preparer{o: p.o}, "front "+name, append([]any{shapeOf(d), p.stamps(d)}, inputs...), func(*making) (front, error) {
			t := make(front, 3*d.MapSize*d.MapSize)
			frozen.Directions(d.MapSize, func(i int, v geom.Vec) {
				uv, w := f(v)
				t[3*i], t[3*i+1], t[3*i+2] = float32(uv.U), float32(uv.V), float32(w)
			}, p.o.WorkerCount())
			return t, nil
		})
	})
	return func(i int, v geom.Vec) (geom.UV, float64) {
		t, err := table()
		if err != nil { // inputs without a form in JSON
			return exact(v)
		}
		return geom.UV{U: float64(t[3*i]), V: float64(t[3*i+1])}, float64(t[3*i+2])
	}, exact, nil
}
