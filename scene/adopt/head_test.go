package adopt

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/asset"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/grown"
	"catchlight/scene/imageio"
	"catchlight/scene/lids"
	"catchlight/scene/mesh"
	"catchlight/scene/seat"
)

// eyesApart is the distance between the eyes of the tests' head.
const eyesApart = 62

// grownHead is a coarse grown pair in its lids, in mm, with nodes whose names say nothing.
var grownHead = sync.OnceValues(func() ([]gltfio.Part, error) {
	p := eye.Defaults()
	p.MeshDetail, p.ShellGap, p.MapSize = 1.6, 0.25, 64
	e, err := eye.Form(p)
	if err != nil {
		return nil, err
	}
	l := lids.Defaults()
	l.Detail, l.Spacing, l.DownDensity, l.BrowDensity, l.LashDensity = 0.6, eyesApart, 0, 0.3, 0.4
	looks := [][2]gltfio.Look{{}, {}}
	h, err := grown.GrowHead(l, []*eye.Eye{e, e}, []string{"right", "left"}, looks)
	if err != nil {
		return nil, err
	}
	return h.Parts()
})

// blind gives each part a name that says nothing, and returns what each is.
func blind(parts []gltfio.Part) (out []gltfio.Part, is map[string]Kind) {
	is = map[string]Kind{}
	kinds := map[string]Kind{"face": Skin, "corner": Corner, "tear_line": Tears, "lashes": Lashes, "brows": Brows}
	for i, p := range parts {
		k := kinds[p.Name]
		p.Name = fmt.Sprintf("node%c", 'a'+i)
		if k != "" {
			is[p.Name] = k
		}
		out = append(out, p)
	}
	return out, is
}

// inputOf is parts as they would be read.
func inputOf(parts []gltfio.Part, metres bool) Input {
	names, _ := LoadNames("")
	in := Input{Asset: "head.glb", Metres: metres, Names: names}
	for _, p := range parts {
		m := clone(p.Mesh)
		in.Parts = append(in.Parts, Part{Name: p.Name, Mesh: m, Look: asset.Material{Name: p.Name, BaseColour: p.Look.BaseColour}, opaque: true})
	}
	return in
}

// A grown pair in its lids, written at another unit (centimetres stored as metres) and with Z up, comes back as it was put in: where
// the eyes are, how large, which is which, and what each mesh is, though no name tells it.
func TestGrownHeadComesBack(t *testing.T) {
	parts, err := grownHead()
	require.NoError(t, err)
	to := geom.RotateX(math.Pi / 2).Then(geom.Scale(100)).Then(geom.Translate(geom.Vec{X: 300, Y: 70, Z: 16000}))
	parts, is := blind(parts)
	file := filepath.Join(t.TempDir(), "head.glb")
	require.NoError(t, gltfio.Write(file, grown.Placed(parts, to)))
	names, err := LoadNames("")
	require.NoError(t, err)
	in, err := Read(file, "", "", names)
	require.NoError(t, err)
	h, err := FindHead(in)
	require.NoError(t, err)
	require.NotNil(t, h)
	require.Len(t, h.Eyes, 2)
	require.InDelta(t, 0.01, h.Factor, 1e-12)
	require.InDelta(t, eyesApart, h.Apart, 0.05)
	for i, x := range []float64{-eyesApart / 2, eyesApart / 2} {
		e := &h.Eyes[i]
		require.Equal(t, [2]string{"right", "left"}[i], e.Side)
		require.Less(t, e.Centre.Sub(geom.Vec{X: x}).Len(), 0.1)
		require.InDelta(t, 12, e.Radius, 0.05)
		require.NotEmpty(t, e.Eye.Outer)
		require.NotEmpty(t, e.Eye.Inner)
	}
	require.Equal(t, "-Y", found(h, "front").Choice)
	require.Equal(t, "+Z", found(h, "up").Choice)
	got := map[string]Kind{}
	for _, it := range h.Items {
		got[it.Name] = it.Kind
	}
	require.Equal(t, is, got)
	// The scene puts the eyes where they were: between the lids, within 0.05 mm.
	require.NoError(t, h.Seat(in, seat.Options{Most: 30, Steps: 1, Cell: 3}))
	text := h.Scene(in, t.TempDir())
	for _, w := range []string{"name: right_eye", "name: left_eye", "translate: [-3", "translate: [3", "kind: tears", "kind: tissue", "from_file: true"} {
		require.Contains(t, text, w)
	}
	require.NotNil(t, h.Eyes[0].Seat)
	require.Less(t, h.Eyes[0].Seat.Rest.Clip.MM, 0.1, "grown lids don't cut the globe")
}

func found(h *Head, topic string) Finding {
	for _, f := range h.Findings {
		if f.Topic == topic {
			return f
		}
	}
	return Finding{}
}

// Pictures of a folder are laid on the mesh that their names speak of; the eyes keep theirs, and what speaks of neither is said.
func TestMapsOfAHead(t *testing.T) {
	parts, err := grownHead()
	require.NoError(t, err)
	dir := t.TempDir()
	pix := make([]byte, 3*16*16)
	for i := range pix {
		pix[i] = byte(100 + i%50)
	}
	for _, n := range []string{"face_color.png", "face_height.png", "skin_normal.png", "lashes_opacity.png", "iris_color.png", "sketch.png", "face_metallic.png"} {
		require.NoError(t, imageio.WritePNG(filepath.Join(dir, n), 16, 16, 3, pix, nil))
	}
	in := inputOf(parts, true)
	for i := range in.Parts {
		if m := in.Parts[i].Mesh; m.UV == nil {
			m.UV = make([]geom.UV, len(m.P))
		}
	}
	in.Folder = dir
	h, err := FindHead(in)
	require.NoError(t, err)
	require.NotNil(t, h)
	text := h.Scene(in, dir)
	for _, w := range []string{`colour: {file: "face_color.png"}`, `normal: {file: "skin_normal.png"`, `height: {file: "face_height.png", zero_level: `, `opacity_mask: {file: "lashes_opacity.png", blend: true}`, `colour: {file: "iris_color.png"`} {
		require.Contains(t, text, w)
	}
	said := map[string]string{}
	for _, f := range h.Findings {
		if f.File != "" {
			said[filepath.Base(f.File)] += f.Choice + ": " + f.Reason
		}
	}
	require.Contains(t, said["sketch.png"], "left out: its name speaks of no mesh")
	require.Contains(t, said["face_metallic.png"], "no key of a mesh takes it")
	require.Contains(t, said["face_height.png"], "taken for 0.2")
}

// However the head stands in its file and whatever its unit, what is called sure is right.
func TestHeadsInOtherFrames(t *testing.T) {
	parts, err := grownHead()
	require.NoError(t, err)
	parts, _ = blind(parts[:5]) // eyes and face
	for i := range parts[:4] {
		parts[i].Name = []string{"R_eye_outer", "R_eye_inner", "L_eye_outer", "L_eye_inner"}[i]
	}
	for _, q := range []struct {
		name   string
		to     geom.Affine
		metres bool
		front  string
		unit   string // of a format without one
		factor float64
		mirror bool
	}{
		{name: "facing -Z", to: geom.RotateY(math.Pi), metres: true, front: "-Z", factor: 1},
		{name: "facing +Y, Z up, inches", to: geom.RotateX(math.Pi / 2).Then(geom.RotateZ(math.Pi)).Then(geom.Scale(1 / 25.4)), front: "+Y", unit: "inch", factor: 1},
		{name: "mirrored", to: geom.Affine{M: [3]geom.Vec{{X: -1}, {Y: 1}, {Z: 1}}}, metres: true, front: "+Z", factor: 1, mirror: true},
	} {
		h, _, err := find(inputOf(grown.Placed(parts, q.to), q.metres))
		require.NoError(t, err, q.name)
		require.NotNil(t, h, q.name)
		require.Equal(t, q.front, found(h, "front").Choice, q.name)
		require.InDelta(t, q.factor, h.Factor, 1e-9, q.name)
		if q.unit != "" {
			require.Equal(t, q.unit, h.Unit, q.name)
		}
		require.InDelta(t, eyesApart, h.Apart, 0.1, q.name)
		sides := found(h, "sides")
		if q.mirror {
			require.Equal(t, Unsure, sides.Grade)
			require.Contains(t, sides.Reason, "mirrored")
			continue
		}
		require.Contains(t, sides.Choice, `right "R_eye_outer"`, q.name)
		require.Less(t, h.Eyes[1].Centre.Sub(geom.Vec{X: eyesApart / 2}).Len(), 0.1, q.name)
	}
}

// Heads that lack something: one eye, no eyes, all in one mesh, plain balls for eyes, and no face at all.
func TestHeadsThatLack(t *testing.T) {
	parts, err := grownHead()
	require.NoError(t, err)
	parts, _ = blind(parts[:7]) // without hair

	h, _, err := find(inputOf(parts[2:], true)) // the right eye is gone
	require.NoError(t, err)
	require.Len(t, h.Eyes, 1)
	require.Equal(t, "left", h.Eyes[0].Side)
	require.Equal(t, Unsure, found(h, "eyes").Grade)
	require.Equal(t, Unsure, found(h, "sides").Grade)

	h, err = FindHead(inputOf(parts[4:], true)) // no eyes
	require.NoError(t, err)
	require.Nil(t, h)
	h, err = FindHead(inputOf(parts[:4], true)) // no face
	require.NoError(t, err)
	require.Nil(t, h)

	all := &mesh.Mesh{} // one mesh
	for _, p := range parts {
		all.Append(&mesh.Mesh{P: p.Mesh.P, N: p.Mesh.N, Tri: p.Mesh.Tri})
	}
	h, err = FindHead(inputOf([]gltfio.Part{{Name: "all", Mesh: all}}, true))
	require.NoError(t, err)
	require.Len(t, h.Eyes, 2)
	require.True(t, strings.HasPrefix(h.Eyes[0].Eye.Outer, "all/"))
	require.Equal(t, Skin, h.Items[0].Kind)
	require.Equal(t, "all/1", h.Items[0].Name)
	require.Contains(t, h.Scene(inputOf(nil, true), "."), `name: "all_1"`)

	// Plain balls: no cornea, no pupil, no shell within.
	face := parts[4]
	ball := func(x float64) gltfio.Part {
		m := sphere(12, 24)
		for i := range m.P {
			m.P[i].X += x
		}
		return gltfio.Part{Name: "ball", Mesh: m} // both of one name
	}
	h, err = FindHead(inputOf([]gltfio.Part{ball(-eyesApart / 2), ball(eyesApart / 2), face}, true))
	require.NoError(t, err)
	require.Equal(t, "+Z", found(h, "front").Choice)
	require.Equal(t, Unsure, found(h, "front").Grade)
	require.InDelta(t, 1, h.Eyes[0].Eye.Globe.Axis.Z, 1e-9)
	require.Less(t, h.Eyes[0].Centre.Sub(geom.Vec{X: -eyesApart / 2}).Len(), 0.05)
	require.Contains(t, h.Scene(inputOf(nil, true), "."), `inner: "ball/`)
	require.NotEqual(t, h.Eyes[0].Eye.Inner, h.Eyes[1].Eye.Inner)

	in := inputOf([]gltfio.Part{ball(-eyesApart / 2), ball(eyesApart / 2), face}, true)
	in.Factor = 1000
	_, err = FindHead(in)
	require.ErrorContains(t, err, "--factor")
}

// Names that lie never make a wrong kind sure: each mesh is called what another is.
func TestNamesThatLie(t *testing.T) {
	parts, err := grownHead()
	require.NoError(t, err)
	parts, is := blind(parts)
	lies := map[Kind]string{Skin: "hair", Corner: "tear_line", Tears: "lashes", Lashes: "caruncle", Brows: "teeth"}
	truth := map[string]Kind{}
	for i := range parts {
		if k := is[parts[i].Name]; k != "" {
			parts[i].Name = lies[k]
			truth[lies[k]] = k
		}
	}
	h, _, err := find(inputOf(parts, true))
	require.NoError(t, err)
	require.NotNil(t, h)
	for _, it := range h.Items {
		if it.Grade == Sure {
			require.Equal(t, truth[it.Name], it.Kind, it.Name)
		}
		require.Equal(t, Unsure, it.Grade, it.Name)
	}
}

// sphere is a ball about the origin with n rings.
func sphere(r float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range n + 1 {
		st, ct := math.Sincos(math.Pi * float64(i) / float64(n))
		for j := range 2 * n {
			sp, cp := math.Sincos(math.Pi * float64(j) / float64(n))
			m.P = append(m.P, geom.Vec{X: r * st * cp, Y: r * ct, Z: -r * st * sp})
		}
	}
	for i := range n {
		for j := range 2 * n {
			a, b := uint32(i*2*n+j), uint32(i*2*n+(j+1)%(2*n))
			m.Tri = append(m.Tri, [3]uint32{a, a + uint32(2*n), b}, [3]uint32{b, a + uint32(2*n), b + uint32(2*n)})
		}
	}
	mesh.Normals(m)
	return m
}

// A face of one sheet about two balls, with a blink as a morph target: it is found by its name, and closes the lids.
func TestBlinkOfAFile(t *testing.T) {
	face, shut := sheet()
	ball := func(name string, x float64) gltfio.Part {
		m := sphere(12, 20)
		for i := range m.P {
			m.P[i].X += x
		}
		return gltfio.Part{Name: name, Mesh: m, Look: gltfio.Look{BaseColour: [3]float64{0.5, 0.5, 0.5}}}
	}
	file := filepath.Join(t.TempDir(), "face.glb")
	require.NoError(t, gltfio.Write(file, []gltfio.Part{ball("ball_R", -31), ball("ball_L", 31),
		{Name: "face", Mesh: face, Look: gltfio.Look{BaseColour: [3]float64{0.5, 0.4, 0.3}}, Targets: []gltfio.Target{{Name: "eyesBlink", P: shut, N: make([]geom.Vec, len(shut))}}}}))
	names, err := LoadNames("")
	require.NoError(t, err)
	in, err := Read(file, "", "", names)
	require.NoError(t, err)
	require.Equal(t, []string{"eyesBlink"}, in.Targets)
	h, err := FindHead(in)
	require.NoError(t, err)
	require.NotNil(t, h)
	require.NoError(t, h.Seat(in, seat.Options{Most: 30, Steps: 1, Cell: 3}))
	s := h.Eyes[0].Seat
	require.NotNil(t, s)
	require.InDelta(t, 0.4, s.Rest.Gap.MM, 0.1)
	require.Zero(t, s.Rest.Clip.MM)
	require.NotNil(t, s.Blink)
	require.Greater(t, s.Open, 0.1)
	require.Zero(t, s.Blink.Open)
	require.True(t, h.Items[0].Close, "a cap over the openings lies within the balls")
	require.Contains(t, h.Scene(in, "."), "close: true")
}

// sheet is a face that lies 12.4 mm about two centres and leaves a round opening of 40 degrees before each, and the moves that close it.
func sheet() (m *mesh.Mesh, shut []geom.Vec) {
	m = &mesh.Mesh{}
	for _, x := range []float64{-31, 31} {
		base := uint32(len(m.P))
		const n, k = 12, 48
		for i := range n + 1 {
			a := geom.Radians(40 + 55*float64(i)/n)
			for j := range k {
				sp, cp := math.Sincos(2 * math.Pi * float64(j) / k)
				at := geom.Vec{X: 12.4 * math.Sin(a) * cp, Y: 12.4 * math.Sin(a) * sp, Z: 12.4 * math.Cos(a)}
				if i == n { // out to the edge of a square, where both halves meet
					at = geom.Vec{X: 31 * max(-1, min(1, 1.5*cp)), Y: 30 * max(-1, min(1, 1.5*sp)), Z: -1}
				}
				m.P = append(m.P, at.Add(geom.Vec{X: x}))
				to := geom.Vec{}
				if i == 0 {
					to = geom.Vec{X: x, Z: 12.4}.Sub(m.P[len(m.P)-1])
				}
				shut = append(shut, to)
				if i > 0 {
					a, b := base+uint32((i-1)*k+j), base+uint32((i-1)*k+(j+1)%k)
					m.Tri = append(m.Tri, [3]uint32{a, a + k, b}, [3]uint32{b, a + k, b + k})
				}
			}
		}
	}
	mesh.Normals(m)
	return m, shut
}
