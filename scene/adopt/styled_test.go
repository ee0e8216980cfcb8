package adopt

import (
	"fmt"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
	"catchlight/scene/texture"
)

// Eyes of many proportions, whose numbers are known as they are built here: what is called sure is right, and most of
// what can be known is sure. CATCHLIGHT_LONG=1 looks at sixty.
func TestStyledEyes(t *testing.T) {
	names, err := LoadNames("")
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(21, 3))
	want := 6
	if os.Getenv("CATCHLIGHT_LONG") != "" {
		want = 60
	}
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	sure := map[string]int{}
	for n := 0; n < want; {
		p := eye.Defaults()
		k := between(0.8, 1.25)
		p.MeshDetail, p.ShellGap, p.MapSize = 1.4*k, 0.2*k, 64
		p.GlobeRadius = 12 * k
		p.CorneaRadius = k * between(6.5, 8.6)
		p.Asphericity = between(-0.6, 0.2)
		p.LimbusRadius = k * between(5, 7)
		p.LimbusWidth = k * between(0.6, 2)
		p.IrisDepth = k * between(3, 4.2)
		p.PupilDiameter = k * between(2, 5)
		p.PupilOffset = [2]float64{between(-0.3, 0.3), between(-0.3, 0.3)}
		g, err := eye.Grow(p)
		if err != nil {
			continue // the shells would touch
		}
		n++
		turn := geom.RotateX(between(-0.4, 0.4)).Then(geom.RotateY(between(-0.4, 0.4)))
		o, in := clone(g.Outer), clone(g.Inner)
		move(o, turn)
		move(in, turn)
		got, err := Propose(Input{Asset: "eye.glb", Parts: []Part{{Name: "a", Mesh: o}, {Name: "b", Mesh: in}}, Metres: true, Names: names})
		require.NoError(t, err)
		nothingSureIsWrong(t, got, truth{limbus: p.LimbusRadius, slack: 0.06 * p.LimbusRadius, pupil: p.PupilDiameter / 2, length: g.AxialLength, axis: turn.Vector(geom.Vec{Z: 1})}, faulty{})
		for topic, grade := range got.grades() {
			if grade == Sure {
				sure[topic]++
			}
		}
		if c := got.Eye.Cornea; c.Radius.Held && c.Steady {
			require.InDelta(t, p.CorneaRadius, c.Radius.V, 3*c.Radius.SE+0.03, fmt.Sprint(p, listed(got)))
		}
	}
	t.Logf("sure of %d: %v", want, sure)
	for _, topic := range []string{"shells", "axis"} {
		require.Greater(t, 3*sure[topic], 2*want, topic)
	}
}

// A picture on the inner shell is a third measure of the limbus: it agrees on an eye whose iris is painted out to it, and where the
// iris is painted a quarter wider than it is modelled, the limbus is unsure and that of the picture. The built eye's own paint has its
// step 1.1 times further in, where the cornea shows it at the limbus.
func TestPaintedLimbus(t *testing.T) {
	names, err := LoadNames("")
	require.NoError(t, err)
	p := eye.Defaults()
	p.MeshDetail, p.ShellGap, p.MapSize = 1.4, 0.2, 256
	g, err := eye.Build(p)
	require.NoError(t, err)
	for _, wider := range []float64{1.1, 1.1 * 1.25} {
		in := clone(g.Inner)
		for i, uv := range in.UV {
			in.UV[i] = geom.UV{U: 0.5 + (uv.U-0.5)/wider, V: 0.5 + (uv.V-0.5)/wider}
		}
		parts := []Part{{Name: "a", Mesh: &mesh.Mesh{P: g.Outer.P, N: g.Outer.N, Tri: g.Outer.Tri, UV: g.Outer.UV}},
			{Name: "b", Mesh: in, ownColour: true, picture: texture.FromImage(g.Colour, texture.Clamp)}}
		got, err := Propose(Input{Asset: "eye.glb", Parts: parts, Metres: true, Names: names})
		require.NoError(t, err)
		require.True(t, got.Eye.Edge.Held, "%v", got.Eye.Edge)
		if wider == 1.1 {
			require.Equal(t, Sure, got.grades()["limbus"], listed(got))
			require.InDelta(t, p.LimbusRadius, got.Globe.Limbus, 0.1)
		} else {
			require.Equal(t, Unsure, got.grades()["limbus"], listed(got))
			require.InDelta(t, got.Eye.Edge.V, got.Globe.Limbus, 1e-9)
			require.Greater(t, got.Globe.Limbus, 6.5)
		}
	}
}

// What the reader of a file mends on the way is still called what it was.
func TestReadersFaults(t *testing.T) {
	names, err := LoadNames("")
	require.NoError(t, err)
	in, err := Read(licensed, "", "", names)
	require.NoError(t, err)
	file := t.TempDir() + "/eye.obj"
	for topic, spoil := range map[string]func(m *mesh.Mesh){
		"normals": func(m *mesh.Mesh) {
			for i := range m.N {
				m.N[i] = m.N[i].Neg()
			}
		},
		"winding": func(m *mesh.Mesh) {
			for i, q := range m.Tri {
				m.Tri[i] = [3]uint32{q[0], q[2], q[1]}
			}
		},
	} {
		var parts []meshio.Part
		for i, n := range []string{"outer", "inner"} {
			m := clone(in.Parts[i].Mesh)
			spoil(m)
			parts = append(parts, meshio.Part{Name: n, Mesh: m})
		}
		require.NoError(t, meshio.WriteOBJ(file, parts))
		again, err := Read(file, "", "", names)
		require.NoError(t, err)
		got, err := Propose(again)
		require.NoError(t, err)
		require.Equal(t, Unsure, got.grades()[topic], listed(got))
		for _, other := range []string{"normals", "winding"} {
			if other != topic {
				require.NotContains(t, got.grades(), other, listed(got))
			}
		}
		require.InDelta(t, 24, got.Globe.Length, 0.05)
	}
}

// Meshes that are no eyes end in an error or in guesses that are not sure, never in a panic.
func TestNoEyes(t *testing.T) {
	names, err := LoadNames("")
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(8, 1))
	for _, size := range []float64{1e-300, 1, 1e200} {
		for kind := range 5 {
			m := &mesh.Mesh{}
			for i := range 200 {
				p := geom.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}
				switch kind {
				case 1: // a plane
					p.Z = 0
				case 2: // a line
					p.Y, p.Z = p.X, 2*p.X
				case 3: // a point
					p = geom.Vec{X: 1, Y: 1, Z: 1}
				case 4: // a ball of single triangles
					p = p.Unit()
				}
				m.P = append(m.P, p.Mul(size))
				m.N = append(m.N, geom.Vec{Z: 1})
				if i%3 == 2 {
					m.Tri = append(m.Tri, [3]uint32{uint32(i - 2), uint32(i - 1), uint32(i)})
				}
			}
			// One connected mesh, not sixty islands.
			for i := range 190 {
				m.Tri = append(m.Tri, [3]uint32{uint32(i), uint32(i + 3), uint32(i + 7)})
			}
			got, err := Propose(Input{Asset: "eye.glb", Parts: []Part{{Name: "a", Mesh: m}, {Name: "b", Mesh: clone(m)}}, Metres: true, Names: names})
			if err != nil {
				continue
			}
			for _, topic := range []string{"axis", "limbus", "pupil", "shells"} {
				g, said := got.grades()[topic]
				require.False(t, said && g == Sure, "%g, %d: %s", size, kind, listed(got))
			}
		}
	}
}
