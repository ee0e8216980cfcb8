package inspect

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/mend"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
)

// fault is one that is planted by code.
type fault struct {
	name  string
	plant func(e *eye)
	code  string    // that must find it
	least Severity  // at least so bad
	most  Severity  // and no worse; 0: any
	near  *geom.Vec // its first place lies within reach of it
	reach float64
}

func at(x, y, z float64) *geom.Vec { return &geom.Vec{X: x, Y: y, Z: z} }

// A place on the front of the outer shell, and one on the iris.
var (
	onCornea = geom.Vec{X: 2, Y: 1, Z: 12.64}
	onIris   = geom.Vec{X: 3.5, Y: 0, Z: 9.85}
	onWhite  = geom.Vec{X: 8.5, Y: 0, Z: 8.47}
)

var shellFaults = []fault{
	{name: "a thousand times too large", plant: func(e *eye) { e.told.MM = 1000 }, code: "scale.unit", least: Error},
	{name: "ten times too small", plant: func(e *eye) { e.told.MM = 0.1 }, code: "scale.unit", least: Error},
	{name: "inches taken for millimetres", plant: func(e *eye) { e.told.MM = 1 / 25.4 }, code: "scale.unit", least: Warning},
	{name: "an iris that is too small", plant: func(e *eye) { e.told.Known.Limbus = 2.8 }, code: "scale.misfit", least: Warning, most: Warning},
	{name: "an iris too near the cornea", plant: func(e *eye) {
		change(e.inner, func(p geom.Vec) geom.Vec {
			if r := math.Hypot(p.X, p.Y); p.Z > 0 && r < 5 {
				p.Z += 2.3 * (1 - r*r/25)
			}
			return p
		})
	}, code: "scale.chamber", least: Warning},
	{name: "no outer shell", plant: func(e *eye) { e.outer = nil }, code: "layers.missing", least: Error},
	{name: "no inner shell", plant: func(e *eye) { e.inner = nil }, code: "layers.missing", least: Error},
	{name: "outer shell inside out", plant: func(e *eye) {
		e.outer.TurnOver()
		mesh.Normals(e.outer)
	}, code: "layers.inside_out", least: Error},
	{name: "iris through the cornea", plant: func(e *eye) {
		change(e.inner, func(p geom.Vec) geom.Vec {
			if d := p.Sub(onIris).Len(); d < 1.2 {
				p.Z += 4 * (1 - d/1.2)
			}
			return p
		})
	}, code: "layers.crossing", least: Error, near: &geom.Vec{X: 3.5, Z: 12}, reach: 2.5},
	{name: "the inner shell shifted as a whole", plant: func(e *eye) {
		change(e.inner, func(p geom.Vec) geom.Vec { return p.Add(geom.Vec{X: 0.8, Y: 0.4}) })
	}, code: "layers.shift", least: Error},
	{name: "the inner shell beside the outer", plant: func(e *eye) {
		change(e.inner, func(p geom.Vec) geom.Vec { return p.Add(geom.Vec{X: 40}) })
	}, code: "layers.outside", least: Error},
	{name: "shells swapped", plant: func(e *eye) { e.outer, e.inner = e.inner, e.outer }, code: "layers.swapped", least: Error},
	{name: "iris turned by 9 degrees", plant: func(e *eye) {
		a := geom.RotateX(geom.Radians(9))
		change(e.inner, func(p geom.Vec) geom.Vec {
			if math.Hypot(p.X, p.Y) < 5.5 && p.Z > 0 {
				return a.Point(p.Sub(geom.Vec{Z: 9.85})).Add(geom.Vec{Z: 9.85})
			}
			return p
		})
	}, code: "layers.tilt", least: Warning},
	{name: "pupil aside by 1 mm", plant: func(e *eye) {
		change(e.inner, func(p geom.Vec) geom.Vec {
			if r := math.Hypot(p.X, p.Y); p.Z > 0 && r < 5.3 {
				p.X += 1.0 * (1 - max(0, r-1.8)/3.5)
			}
			return p
		})
	}, code: "layers.offset", least: Warning, near: at(1, 0, 9.8), reach: 0.3},
	{name: "a wide gap over the white", plant: func(e *eye) {
		change(e.inner, func(p geom.Vec) geom.Vec {
			if math.Hypot(p.X, p.Y) > 5.6 || p.Z < 0 {
				return p.Mul(0.9)
			}
			return p
		})
	}, code: "layers.white_gap", least: Warning},
	{name: "a lid that reaches into the globe", plant: func(e *eye) {
		m := goodOuter(64)
		var keep [][3]uint32
		for _, c := range m.Tri {
			if m.P[c[0]].Y > 5 {
				keep = append(keep, c)
			}
		}
		m.Tri = keep
		change(m, func(p geom.Vec) geom.Vec { return p.Mul(0.92) })
		e.others = []*Part{{Name: "upper_lid", Role: Lid, Mesh: m}}
	}, code: "layers.lid", least: Warning},
	{name: "a tear film within the globe", plant: func(e *eye) {
		m := goodOuter(64)
		change(m, func(p geom.Vec) geom.Vec { return p.Mul(0.99) })
		e.others = []*Part{{Name: "tear_film", Role: Tear, Mesh: m}}
	}, code: "layers.tear", least: Warning},
}

var meshFaults = []fault{
	{name: "a hole in the cornea", plant: func(e *eye) { drop(e.outer, within(e.outer, onCornea, 0.6)) }, code: "mesh.open", least: Error, near: &onCornea, reach: 1},
	{name: "a hole in the iris", plant: func(e *eye) { drop(e.inner, within(e.inner, onIris, 0.4)) }, code: "mesh.open", least: Error, near: &onIris, reach: 1},
	{name: "a fin", plant: func(e *eye) {
		c := e.outer.Tri[nearest3(e.outer, onWhite)]
		e.outer.P = append(e.outer.P, onWhite.Mul(1.1))
		e.outer.N = append(e.outer.N, geom.Vec{Z: 1})
		e.outer.UV = append(e.outer.UV, geom.UV{U: 0.01, V: 0.01})
		e.outer.Tri = append(e.outer.Tri, [3]uint32{c[0], c[1], uint32(len(e.outer.P) - 1)})
	}, code: "mesh.nonmanifold", least: Warning, near: &onWhite, reach: 1},
	{name: "a patch that winds the other way", plant: func(e *eye) {
		some := within(e.outer, onWhite, 1.5)
		for i, c := range e.outer.Tri {
			if some[c[0]] && some[c[1]] && some[c[2]] {
				e.outer.Tri[i] = [3]uint32{c[0], c[2], c[1]}
			}
		}
	}, code: "mesh.winding", least: Warning, near: &onWhite, reach: 2.5},
	{name: "triangles without area", plant: func(e *eye) {
		k := nearest3(e.outer, onCornea)
		c := e.outer.Tri[k]
		e.outer.P[c[0]] = e.outer.P[c[1]]
	}, code: "mesh.degenerate", least: Warning, near: &onCornea, reach: 1},
	{name: "doubled triangles", plant: func(e *eye) {
		some := within(e.outer, onCornea, 1)
		for _, c := range e.outer.Tri {
			if some[c[0]] && some[c[1]] && some[c[2]] {
				e.outer.Tri = append(e.outer.Tri, c)
			}
		}
	}, code: "mesh.duplicate", least: Error, near: &onCornea, reach: 2},
	{name: "normals that lean", plant: func(e *eye) {
		for i := range within(e.outer, onCornea, 2) {
			e.outer.N[i] = e.outer.N[i].Add(geom.Vec{X: 0.7}).Unit()
		}
	}, code: "mesh.normals", least: Error, near: &onCornea, reach: 2.5},
	{name: "a spike on the iris", plant: func(e *eye) {
		change(e.inner, func(p geom.Vec) geom.Vec {
			if d := p.Sub(onIris).Len(); p.Z > 9 && d < 0.55 {
				p.Z += 3 * (1 - d)
			}
			return p
		})
	}, code: "mesh.spike", least: Error, near: &geom.Vec{X: 3.5, Z: 12.85}, reach: 0.5},
	{name: "triangles that name one vertex", plant: func(e *eye) { e.outer.Tri = append(e.outer.Tri, [3]uint32{7, 7, 7}, [3]uint32{40, 40, 40}) }, code: "mesh.degenerate", least: Warning},
	{name: "sixteen segments, as filed", plant: func(e *eye) {
		e.outer = goodOuter(16)
		e.change = func(s *Subject) { s.AsFiled = true }
	}, code: "mesh.outline", least: Error},
	{name: "sixteen segments", plant: func(e *eye) { e.outer = goodOuter(16) }, code: "mesh.outline", least: Warning, most: Warning},
	{name: "a flake", plant: func(e *eye) {
		n := uint32(len(e.outer.P))
		for _, d := range []geom.Vec{{}, {X: 0.5}, {Y: 0.5}} {
			e.outer.P, e.outer.N, e.outer.UV = append(e.outer.P, onWhite.Mul(1.03).Add(d)), append(e.outer.N, geom.Vec{Z: 1}), append(e.outer.UV, geom.UV{U: 0.01, V: 0.01})
		}
		e.outer.Tri = append(e.outer.Tri, [3]uint32{n, n + 1, n + 2})
	}, code: "mesh.loose", least: Warning, near: &onWhite, reach: 1},
}

func mapped(role Role) func(s *Subject) {
	return func(s *Subject) {
		s.Maps = append(s.Maps, Map{Key: "iris.colour", File: "amber.png", Role: role, Colour: true})
	}
}

var coordinateFaults = []fault{
	{name: "no coordinates", plant: func(e *eye) { e.inner.UV = nil; e.change = mapped(Inner) }, code: "coordinates.none", least: Error},
	{name: "coordinates that are no numbers", plant: func(e *eye) { e.inner.UV[200].U = math.NaN() }, code: "coordinates.lost", least: Error},
	{name: "collapsed coordinates", plant: func(e *eye) {
		for i := range within(e.inner, onIris, 1.2) {
			e.inner.UV[i] = geom.UV{U: 0.6, V: 0.5}
		}
	}, code: "coordinates.empty", least: Error, near: &onIris, reach: 2},
	{name: "one half laid over the other", plant: func(e *eye) {
		for i, u := range e.inner.UV {
			e.inner.UV[i].U = 0.5 + math.Abs(u.U-0.5)
		}
		e.change = mapped(Inner)
	}, code: "coordinates.overlap", least: Error},
	{name: "half of it mirrored", plant: func(e *eye) {
		for i, u := range e.inner.UV {
			e.inner.UV[i].U = 0.5 + math.Abs(u.U-0.5)
		}
	}, code: "coordinates.mirrored", least: Error},
	{name: "all of it mirrored", plant: func(e *eye) {
		for i, u := range e.inner.UV {
			e.inner.UV[i].U = 1 - u.U
		}
	}, code: "coordinates.mirrored", least: Warning, most: Warning},
	{name: "a patch out of range", plant: func(e *eye) {
		for i := range e.inner.UV {
			e.inner.UV[i].U += 0.3
		}
		e.change = mapped(Inner)
	}, code: "coordinates.outside", least: Error},
	{name: "starved texels", plant: func(e *eye) {
		for i, u := range e.inner.UV {
			e.inner.UV[i] = geom.UV{U: 0.5 + 0.1*(u.U-0.5), V: 0.5 + 0.1*(u.V-0.5)}
		}
		e.change = mapped(Inner)
	}, code: "coordinates.density", least: Error},
	{name: "drawn out", plant: func(e *eye) {
		for i, u := range e.inner.UV {
			e.inner.UV[i].U = 0.5 + 0.1*(u.U-0.5)
		}
	}, code: "coordinates.stretch", least: Warning},
	{name: "a seam with a break of the normals", plant: func(e *eye) {
		// Of the right half each vertex on the seam has a double with other coordinates and a normal that leans.
		m := e.outer
		double := map[uint32]uint32{}
		for i, c := range m.Tri {
			if m.P[c[0]].Add(m.P[c[1]]).Add(m.P[c[2]]).X < 0 {
				continue
			}
			for k, v := range c {
				d, ok := double[v]
				if !ok {
					d = uint32(len(m.P))
					double[v] = d
					m.P, m.UV = append(m.P, m.P[v]), append(m.UV, geom.UV{U: m.UV[v].U + 0.01, V: m.UV[v].V})
					m.N = append(m.N, m.N[v].Add(geom.Vec{X: 0.06}).Unit())
				}
				m.Tri[i][k] = d
			}
		}
	}, code: "coordinates.seam", least: Error},
}

// nearest3 is the triangle whose middle lies nearest to p.
func nearest3(m *mesh.Mesh, p geom.Vec) int {
	best, d := 0, math.Inf(1)
	for i, c := range m.Tri {
		if e := m.P[c[0]].Add(m.P[c[1]]).Add(m.P[c[2]]).Mul(1.0 / 3).Sub(p).Len(); e < d {
			best, d = i, e
		}
	}
	return best
}

func (f *fault) test(t *testing.T) {
	e := &eye{outer: goodOuter(72), inner: goodInner(56, 1.8)}
	f.plant(e)
	group, _, _ := strings.Cut(f.code, ".")
	o := Options{Workers: 2, Groups: []Group{Group(group)}}
	if long() {
		o.Groups = nil
	}
	r, err := Look(context.Background(), e.subject(t), o)
	require.NoError(t, err)
	var found *Finding
	for _, q := range r.Of(f.code) {
		if q.Severity > Fine {
			found = &q
			break
		}
	}
	off := -1.0
	if found != nil && f.near != nil && len(found.Where) > 0 {
		off = found.Where[0].Vec().Sub(*f.near).Len()
	}
	planted(f.name, f.code, f.least, r, off)
	require.NotNil(t, found, "not found; the report is %s", r.Verdict())
	require.GreaterOrEqual(t, found.Severity, f.least, "%+v", *found)
	if f.most > 0 {
		require.LessOrEqual(t, found.Severity, f.most, "%+v", *found)
	}
	require.NotEmpty(t, found.Remedy.Text())
	if f.near != nil {
		require.NotEmpty(t, found.Where)
		w := found.Where[0].MM
		require.InDelta(t, 0, geom.Vec{X: w[0], Y: w[1], Z: w[2]}.Sub(*f.near).Len(), f.reach, "%v", found.Where[0])
	}
}

// Each fault is named by its code, rated and placed.
func TestPlantedFaults(t *testing.T) {
	for _, list := range [][]fault{shellFaults, meshFaults, coordinateFaults} {
		for _, f := range list {
			t.Run(f.name, f.test)
		}
	}
}

// The eye that they are planted in has none.
func TestGoodEye(t *testing.T) {
	r := looked(t, goodEye().subject(t))
	for _, f := range r.Findings {
		require.LessOrEqual(t, f.Severity, Note, "%s: %s: %s", f.Code, f.Title, f.ShowsText())
	}
}

// What --mend is told to do mends it: an eye that looks along -Y with +Z up, in metres for millimetres, with one shell wound inward,
// comes out as one that has none of it.
func TestMendedIsMended(t *testing.T) {
	dir := t.TempDir()
	bad, good := filepath.Join(dir, "bad.glb"), filepath.Join(dir, "good.glb")
	_, err := mend.File(licensed, bad, mend.Changes{Factor: 1000, Turn: geom.RotateX(geom.Radians(90)), Over: []string{"RightEye_Inner_IrisBody"}})
	require.NoError(t, err)
	groups := []Group{Scale, Mesh}
	look := func(file string) *Report {
		r, err := Look(context.Background(), read(t, Source{Asset: file}), Options{Workers: 2, Groups: groups})
		require.NoError(t, err)
		return r
	}
	r := look(bad)
	require.Equal(t, Error, r.Of("scale.unit")[0].Severity)
	require.Equal(t, "the eye looks along -Y", r.Of("scale.axis")[0].Title)
	require.Len(t, r.Of("mesh.turned"), 1)
	m := r.Mend()
	require.Empty(t, m.Green)
	_, err = mend.File(bad, good, m.Changes)
	require.NoError(t, err)
	r = look(good)
	require.Equal(t, Fine, r.Of("scale.unit")[0].Severity)
	require.Equal(t, Fine, r.Of("scale.axis")[0].Severity)
	require.Empty(t, r.Of("mesh.turned"))
	again := r.Mend()
	require.True(t, again.Changes.None())
	was, err := meshio.Read(licensed, "")
	require.NoError(t, err)
	now, err := meshio.Read(good, "")
	require.NoError(t, err)
	for i, p := range was.Nodes[0].Mesh.P {
		require.InDelta(t, 0, p.Sub(now.Nodes[0].Mesh.P[i]).Len(), 1e-4)
	}
}

// Good eyes of many sizes, shapes and meshes have no error: people's, animals', stylised ones, coarse and fine.
func TestGoodEyes(t *testing.T) {
	for name, q := range map[string]struct {
		n     int
		pupil float64
		size  float64
		flat  float64 // along the axis
	}{
		"coarse": {32, 1.8, 1, 1}, "a child's": {64, 2.6, 0.75, 1}, "a large animal's": {64, 2.2, 1.5, 0.9}, "wide pupil": {48, 3.9, 1, 1}, "narrow pupil": {64, 0.8, 1, 1}, "long": {64, 1.8, 1, 1.1}, "stylised": {48, 2, 1.7, 1},
	} {
		e := &eye{outer: goodOuter(q.n), inner: goodInner(q.n, q.pupil)}
		for _, m := range []*mesh.Mesh{e.outer, e.inner} {
			change(m, func(p geom.Vec) geom.Vec { return geom.Vec{X: p.X, Y: p.Y, Z: p.Z * q.flat}.Mul(q.size) })
		}
		r := looked(t, e.subject(t))
		for _, f := range r.Findings {
			require.Less(t, f.Severity, Error, "%s: %s: %s, %s", name, f.Code, f.Title, f.ShowsText())
		}
	}
}

// Smooth normals over a sharp fold, such as a wall that overhangs at the root of the iris, are the shape's and no fault.
func TestSharpFold(t *testing.T) {
	e := goodEye()
	list := [][2]float64{{1.8, 9.7}, {2, 9.8}, {3.5, 9.8}, {5, 9.8}}
	for i := range 6 {
		list = append(list, [2]float64{5.5 + 0.018*float64(i), 9.8})
	}
	for i := range 40 {
		a := math.Asin(5.6/11.9) + 0.002*float64(i) + (math.Pi-0.078-math.Asin(5.6/11.9))*math.Pow(float64(i)/39, 4)
		list = append(list, [2]float64{11.9 * math.Sin(a), 11.9 * math.Cos(a)})
	}
	list[len(list)-1][0] = 0
	e.inner = revolved(64, list)
	facets := 0
	for _, c := range e.inner.Tri {
		n := e.inner.P[c[1]].Sub(e.inner.P[c[0]]).Cross(e.inner.P[c[2]].Sub(e.inner.P[c[0]]))
		if n.Dot(e.inner.N[c[0]].Add(e.inner.N[c[1]]).Add(e.inner.N[c[2]])) < 0 {
			facets++
		}
	}
	require.Greater(t, facets, 50, "there is such a fold")
	r, err := Look(t.Context(), e.subject(t), Options{Groups: []Group{Mesh}})
	require.NoError(t, err)
	for _, f := range r.Of("mesh.normals") {
		require.Equal(t, Fine, f.Severity, f.Number.String())
	}
}

// What the reader of a file left out or turned is a finding of its part.
func TestNotesOfReaders(t *testing.T) {
	e := goodEye()
	e.change = func(s *Subject) {
		s.Notes = []string{"upper_lid is scaled to nothing (a scale of zero) and left out", "iris_body: its normals are negated: they point inward, though its triangles wind outward; the normals are turned"}
	}
	r, err := Look(t.Context(), e.subject(t), Options{Groups: []Group{Mesh}})
	require.NoError(t, err)
	require.Equal(t, Error, r.Of("mesh.flat")[0].Severity)
	f := r.Of("mesh.turned")
	require.Len(t, f, 1)
	require.Equal(t, "iris_body", f[0].Part)
	require.Equal(t, []string{"iris_body"}, r.Mend().Changes.Negate)
	require.Empty(t, r.Mend().Changes.Over)
}

// An inner shell that is shifted as a whole is one cause with the vector that mends it, to which all else points; a pupil that lies
// aside alone is none.
func TestShiftOfTheInnerShell(t *testing.T) {
	for _, d := range []geom.Vec{{X: 0.8, Y: 0.4}, {X: -0.35}, {Y: -1.6}} {
		e := goodEye()
		change(e.inner, func(p geom.Vec) geom.Vec { return p.Add(d) })
		r, err := Look(t.Context(), e.subject(t), Options{Groups: []Group{Layers}})
		require.NoError(t, err)
		f := r.Findings[0]
		require.Equal(t, "layers.shift", f.Code)
		require.Equal(t, Error, f.Severity)
		require.InDelta(t, d.Len(), f.Number.V, 0.03)
		require.Contains(t, f.Remedy.Step, "move the whole inner shell by (")
		var back geom.Vec
		_, err = fmt.Sscanf(f.Remedy.Step, "move the whole inner shell by (%f, %f, %f) mm", &back.X, &back.Y, &back.Z)
		require.NoError(t, err)
		require.InDelta(t, 0, back.Add(d).Len(), 0.03, f.Remedy.Step)
		for _, f := range r.Findings[1:] {
			if f.Severity > Note {
				require.Contains(t, f.Remedy.Step, "layers.shift", f.Code)
			}
		}
	}
	for _, q := range shellFaults {
		e := &eye{outer: goodOuter(72), inner: goodInner(56, 1.8)}
		q.plant(e)
		r, err := Look(t.Context(), e.subject(t), Options{Groups: []Group{Layers}})
		require.NoError(t, err)
		for _, f := range r.Of("layers.shift") {
			if e.outer != nil && e.inner != nil && q.code != "layers.shift" && q.code != "layers.outside" && q.code != "layers.swapped" {
				require.Equal(t, Fine, f.Severity, "%s: %s", q.name, f.Number)
			}
		}
	}
}

// Of the faults of shells that move an iris as a whole none is taken for a spike.
func TestNoSpikes(t *testing.T) {
	for _, q := range shellFaults {
		if q.code != "layers.offset" && q.code != "layers.tilt" && q.code != "layers.shift" {
			continue
		}
		e := &eye{outer: goodOuter(72), inner: goodInner(56, 1.8)}
		q.plant(e)
		s := e.subject(t)
		r := &Run{Ctx: t.Context(), Subject: s, Limits: Builtin(), check: &meshChecks[0]}
		require.Empty(t, r.spikes(s.Part(Inner)), q.name)
	}
}

// A spike on the iris is told by the numbers of its vertices, and the crossing that it makes points to it.
func TestSpike(t *testing.T) {
	e := goodEye()
	want := []string{}
	for i, p := range e.inner.P {
		if d := p.Sub(onIris).Len(); p.Z > 9 && d < 0.55 {
			e.inner.P[i].Z += 3 * (1 - d)
			want = append(want, fmt.Sprint(i))
		}
	}
	mesh.Normals(e.inner)
	r, err := Look(t.Context(), e.subject(t), Options{Groups: []Group{Layers, Mesh}})
	require.NoError(t, err)
	f := r.Of("mesh.spike")[0]
	require.Equal(t, Error, f.Severity)
	require.Equal(t, fmt.Sprintf("%d vertices stand out: %s", len(want), strings.Join(want, ", ")), f.Title)
	require.Contains(t, r.Of("layers.crossing")[0].Remedy.Step, "mesh.spike")
	require.Equal(t, "mesh.spike", r.Findings[0].Code, "a cause is listed before what follows from it")
}

// Triangles that name one vertex are to be deleted; they are no piece of their own.
func TestTrianglesOfOneVertex(t *testing.T) {
	e := goodEye()
	n := len(e.outer.Tri)
	lone := uint32(len(e.outer.P))
	e.outer.P, e.outer.N, e.outer.UV = append(e.outer.P, onCornea), append(e.outer.N, geom.Vec{Z: 1}), append(e.outer.UV, geom.UV{})
	e.outer.Tri = append(e.outer.Tri, [3]uint32{7, 7, 7}, [3]uint32{lone, lone, lone})
	require.Len(t, mesh.Islands(e.outer, 0), 1)
	r, err := Look(t.Context(), e.subject(t), Options{Groups: []Group{Mesh}})
	require.NoError(t, err)
	f := r.Of("mesh.degenerate")[0]
	require.Equal(t, 2.0, f.Number.V)
	require.Equal(t, fmt.Sprintf("of %d triangles", n+2), f.Number.What)
	require.Contains(t, f.Remedy.Step, "delete these 2 triangles")
	require.Empty(t, r.Of("mesh.loose"))
}

// Where a severity is not what shows would make it, the reason is said.
func TestBoundsAreSaid(t *testing.T) {
	r := looked(t, (&eye{outer: goodOuter(16), inner: goodInner(16, 1.8)}).subject(t))
	n := 0
	for _, f := range r.Findings {
		by := Note
		if f.Shows.Px >= 3 || f.Shows.Levels >= 12 {
			by = Error
		} else if f.Shows.Px >= 0.5 || f.Shows.Levels >= 2 {
			by = Warning
		}
		if f.Severity > Fine && f.Severity != by {
			n++
			require.Regexp(t, `^(note|warning|error) at (most|least), .*: .+`, f.Bound, f.Code)
		} else {
			require.Empty(t, f.Bound, f.Code)
		}
	}
	require.Positive(t, n)
	for _, c := range Checks {
		for _, k := range c.Codes {
			delete(unused, k.ID)
		}
	}
	require.Empty(t, unused, "reasons of codes that are none")
}

// unused are the codes of the reasons.
var unused = func() map[string]string {
	m := map[string]string{}
	for k, v := range because {
		m[k] = v
	}
	return m
}()

// What is moved says which way, rounded up, and who does as told is done.
func TestChamberIsMoved(t *testing.T) {
	e := goodEye()
	change(e.inner, func(p geom.Vec) geom.Vec {
		if r := math.Hypot(p.X, p.Y); p.Z > 0 && r < 5 {
			p.Z += 2.0
		}
		return p
	})
	look := func() Finding {
		r, err := Look(t.Context(), e.subject(t), Options{Groups: []Group{Scale}})
		require.NoError(t, err)
		return r.Of("scale.chamber")[0]
	}
	f := look()
	require.Equal(t, Warning, f.Severity)
	var by float64
	_, err := fmt.Sscanf(f.Remedy.Step, "move the iris %f mm back, away from the cornea", &by)
	require.NoError(t, err, f.Remedy.Step)
	change(e.inner, func(p geom.Vec) geom.Vec {
		if r := math.Hypot(p.X, p.Y); p.Z > 0 && r < 5 {
			p.Z -= by
		}
		return p
	})
	require.Equal(t, Fine, look().Severity)
}

// Without a map nothing is guessed about maps: no texels are starved, no seam breaks a picture, nothing shares one.
func TestNoGuessesWithoutMaps(t *testing.T) {
	s := read(t, Source{Asset: licensed})
	s.Maps = nil
	r, err := Look(t.Context(), s, Options{Groups: []Group{Coordinates}})
	require.NoError(t, err)
	for _, code := range []string{"coordinates.density", "coordinates.seam", "coordinates.overlap"} {
		for _, f := range r.Of(code) {
			require.Equal(t, Fine, f.Severity, code)
		}
	}
	require.InDelta(t, 1000, r.MM, 1e-9, "glTF's numbers are metres")
	require.Contains(t, r.Lengths(), "1000 mm to 1 of the file's numbers")
}

// A wrong unit says what it does, and the reader's question is answered; the number of a stylised eye is that of its title; what is
// known less well than its range can't be told.
func TestWordsOfScale(t *testing.T) {
	e := goodEye()
	e.told.MM = 1000
	e.change = func(s *Subject) {
		s.Notes = []string{"the asset is 2.4e+04 mm across; the format's unit is the metre: are these millimetres or centimetres stored as metres?", "kept"}
	}
	r, err := Look(t.Context(), e.subject(t), Options{Groups: []Group{Scale}})
	require.NoError(t, err)
	require.Contains(t, r.Of("scale.unit")[0].Shows.Text, "like stone: light spreads 1000 times too little")
	require.Equal(t, []string{"kept"}, r.Notes)
	s := read(t, Source{Asset: licensed})
	r, err = Look(t.Context(), s, Options{Groups: []Group{Scale}})
	require.NoError(t, err)
	f := r.Of("scale.stylised")[0]
	require.Contains(t, f.Title, fmt.Sprintf("(%.3f of it", f.Number.V))
	require.False(t, f.Range.Holds(f.Number.V))
	a, b := goodEye().subject(t), goodEye().subject(t)
	b.Eye.Limbus.SE = 0.55
	for _, f := range bothEyes(t, a, b).Of("pairs.size") {
		if strings.Contains(f.Number.What, "visible iris") {
			require.False(t, f.Number.Held)
			require.Contains(t, f.Number.Why, "can't tell")
		} else {
			require.True(t, f.Number.Held, f.Number.What)
		}
	}
	a.Mate = nil
	for _, c := range Checks {
		require.Equal(t, c.Group != Maps && c.Group != Pairs, c.has(a), c.Name)
	}
}
