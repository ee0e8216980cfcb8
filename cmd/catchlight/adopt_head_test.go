package main

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render"
	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
)

// headIn writes a head of few triangles: the licensed eye and its mirror image 62 mm apart, a face of one sheet that lies 0.4 mm about
// them and leaves round openings, and a lash card with a mask above each eye.
func headIn(t *testing.T, file string) {
	t.Helper()
	a, err := gltfio.ReadMorphed("../../testdata/eye/ict_right_eye_axial24mm.glb", nil)
	require.NoError(t, err)
	var parts []gltfio.Part
	const x0, white = 31.0, 11.17 // half of the distance; radius of the white, stated with the eye as 15.42 at 33.1 mm of length
	dots, err := imageio.EncodePNG(2, 2, 3, []uint8{150, 120, 100, 160, 130, 110, 150, 120, 100, 160, 130, 110})
	require.NoError(t, err)
	c := a.Nodes[0].Mesh.Bounds() // of the outer shell
	back := c.Lo.Z + white
	for i, side := range []string{"R", "L"} {
		for j, n := range a.Nodes {
			m := &mesh.Mesh{UV: n.Mesh.UV, Tri: append([][3]uint32(nil), n.Mesh.Tri...)}
			for k, p := range n.Mesh.P {
				q := geom.Vec{X: p.X - c.Centre().X, Y: p.Y - c.Centre().Y, Z: p.Z - back}
				v := n.Mesh.N[k]
				if i == 1 {
					q.X, v.X = -q.X, -v.X
				}
				q.X += [2]float64{-x0, x0}[i]
				m.P, m.N = append(m.P, q), append(m.N, v)
			}
			if i == 1 {
				m.TurnOver()
			}
			parts = append(parts, gltfio.Part{Name: side + [2]string{"_outer", "_inner"}[j], Mesh: m, Look: gltfio.Look{BaseColour: [3]float64{1, 1, 1}, Roughness: 0.5, BaseMap: [2][]byte{nil, dots}[j]}})
		}
	}
	face, cards := &mesh.Mesh{}, &mesh.Mesh{}
	for _, x := range []float64{-x0, x0} {
		base := uint32(len(face.P))
		const n, k = 12, 48
		for i := range n + 1 {
			for j := range k {
				s, c := math.Sincos(geom.Radians(45 + 50*float64(i)/n))
				sp, cp := math.Sincos(2 * math.Pi * float64(j) / k)
				at := geom.Vec{X: (white + 0.4) * s * cp, Y: (white + 0.4) * s * sp, Z: (white + 0.4) * c}
				if i == n {
					at = geom.Vec{X: x0 * max(-1, min(1, 1.5*cp)), Y: 30 * max(-1, min(1, 1.5*sp)), Z: -1}
				}
				face.P = append(face.P, at.Add(geom.Vec{X: x}))
				if i > 0 {
					a, b := base+uint32((i-1)*k+j), base+uint32((i-1)*k+(j+1)%k)
					face.Tri = append(face.Tri, [3]uint32{a, a + k, b}, [3]uint32{b, a + k, b + k})
				}
			}
		}
		b := uint32(len(cards.P))
		for _, q := range [][2]float64{{-9, 0}, {9, 0}, {9, 1}, {-9, 1}} {
			cards.P = append(cards.P, geom.Vec{X: x + q[0], Y: 7.5 + 2*q[1], Z: 9.5 + 6*q[1]})
			cards.UV = append(cards.UV, geom.UV{U: 0.5 + q[0]/18, V: 1 - q[1]})
		}
		cards.Tri = append(cards.Tri, [3]uint32{b, b + 1, b + 2}, [3]uint32{b, b + 2, b + 3})
	}
	mesh.Normals(face)
	mesh.Normals(cards)
	stripes := make([]uint8, 4*16*4)
	for i := range 16 * 4 {
		copy(stripes[4*i:], []uint8{30, 20, 15, [2]uint8{255, 40}[i%2]})
	}
	png, err := imageio.EncodePNG(16, 4, 4, stripes)
	require.NoError(t, err)
	parts = append(parts, gltfio.Part{Name: "face", Mesh: face, Look: gltfio.Look{BaseColour: [3]float64{0.5, 0.35, 0.28}, Roughness: 0.5}},
		gltfio.Part{Name: "lash_cards", Mesh: cards, Look: gltfio.Look{BaseColour: [3]float64{1, 1, 1}, Roughness: 0.6, BaseMap: png, Blend: true}})
	require.NoError(t, gltfio.Write(file, parts))
}

// One command takes a head in: a scene of two eyes, a face that scatters and lash cards with their mask, which renders in both
// looks (the raster one with CATCHLIGHT_LONG=1) with no hand edit; findings, a page and the seating map beside it.
func TestAdoptHead(t *testing.T) {
	head := filepath.Join(t.TempDir(), "keeper.glb")
	headIn(t, head)
	t.Chdir(t.TempDir())
	code, out, stderr := catchlight("adopt", head, "--drafts=false")
	require.Zero(t, code, stderr)
	for _, w := range []string{"a head with two eyes", "mm apart", `sides: right "R_outer", "R_inner"`, `mesh "face": skin`, `mesh "lash_cards": lashes`, "right eye in its socket: gap beside the rim up to 0.", "--set 'objects.right_eye.transform.translate=[", "seating.png", "catchlight watch out/adopt-keeper/scene.yaml"} {
		require.Contains(t, out, w)
	}
	dir := filepath.Join("out", "adopt-keeper")
	d, err := scene.Load(filepath.Join(dir, "scene.yaml"))
	require.NoError(t, err)
	require.Len(t, d.Objects, 4)
	require.Equal(t, "right", d.Objects[0].Eye.Side)
	require.InDelta(t, -31, d.Objects[0].Transform.Translate.X, 0.3)
	require.InDelta(t, 31, d.Objects[1].Transform.Translate.X, 0.3)
	require.True(t, d.Objects[2].Close)
	d, err = scene.Load(filepath.Join(dir, "scene.yaml"), "picture.width=40", "picture.height=25", "picture.samples=4", "picture.denoise=false", "lights.window.on=false", "lights.room.on=false",
		"lights.overcast.on=true", "objects.right_eye.map_size=64", "objects.left_eye.map_size=64")
	require.NoError(t, err)
	p, err := render.Prepare(t.Context(), d, render.Options{})
	require.NoError(t, err)
	looks := []func(context.Context, render.Options) (*render.Result, error){p.Render}
	if os.Getenv("CATCHLIGHT_LONG") != "" { // baking two eyes takes most of the time
		looks = append(looks, p.Raster)
	}
	for _, draw := range looks {
		r, err := draw(t.Context(), render.Options{})
		require.NoError(t, err)
		require.Zero(t, r.Stats.WalkLeaks, "a face of one sheet is closed by its caps: no path dies between lid and globe")
		green := func(x, y int) float64 {
			_, g, _, _ := r.Linear().HDRAt(x, y).HDRRGBA()
			return g
		}
		// Bright skin between the eyes, a dark pupil in the middle of each: 31 mm aside where the picture is 2.4 times 62 mm wide.
		require.Greater(t, green(20, 12), 0.1)
		require.Less(t, min(green(11, 12), green(12, 12)), green(20, 12))
		require.Less(t, min(green(27, 12), green(28, 12)), green(20, 12))
	}
	page, err := os.ReadFile(filepath.Join(dir, "list.html"))
	require.NoError(t, err)
	require.Contains(t, string(page), "seating.png")
	found, err := os.ReadFile(filepath.Join(dir, "findings.json"))
	require.NoError(t, err)
	require.Contains(t, string(found), `"best_move_mm"`)

	code, _, stderr = catchlight("adopt", head, "--factor", "1000", "--drafts=false")
	require.NotZero(t, code)
	require.Contains(t, stderr, "--factor")
	code, _, stderr = catchlight("adopt", head, "--unit", "cm", "--drafts=false")
	require.NotZero(t, code)
	require.Contains(t, stderr, "the file's format fixes it")
}
