package meshio

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// put writes files into a new folder and returns the path of the first. Names and texts alternate.
func put(t *testing.T, files ...string) string {
	t.Helper()
	dir := t.TempDir()
	for i := 0; i < len(files); i += 2 {
		require.NoError(t, os.WriteFile(filepath.Join(dir, files[i]), []byte(files[i+1]), 0o666))
	}
	return filepath.Join(dir, files[0])
}

func mustRead(t *testing.T, files ...string) *asset.Asset {
	t.Helper()
	a, err := Read(put(t, files...), "mm")
	require.NoError(t, err)
	return a
}

func area(m *mesh.Mesh) (sum float64) {
	for _, t := range m.Tri {
		sum += m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]])).Len() / 2
	}
	return
}

// All forms of a corner, negative numbers, colours behind vertices, continued lines, blanks and line ends of other
// systems show the same square.
func TestObjForms(t *testing.T) {
	const v = "v 0 0 0\nv 2 0 0\nv 2 2 0\nv 0 2 0\n"
	const rest = "vt 0 0\nvt 1 0\nvt 1 1\nvt 0 1\nvn 0 0 1\n"
	for name, text := range map[string]string{
		"v":           v + "f 1 2 3 4\n",
		"v/vt":        v + rest + "f 1/1 2/2 3/3 4/4\n",
		"v//vn":       v + rest + "f 1//1 2//1 3//1 4//1\n",
		"v/vt/vn":     v + rest + "f 1/1/1 2/2/1 3/3/1 4/4/1\n",
		"negative":    v + rest + "f -4/-4/-1 -3/-3/-1 -2/-2/-1 -1/-1/-1\n",
		"colours":     "v 0 0 0 1 0 0\nv 2 0 0 1 0 0\nv 2 2 0 1 0 0\nv 0 2 0 1 0 0\nf 1 2 3 4\n",
		"weights":     "v 0 0 0 1\nv 2 0 0 1\nv 2 2 0 1\nv 0 2 0 1\nf 1 2 3 4\n",
		"continued":   v + "f 1 2 \\\n 3 \\\r\n 4",
		"line ends":   strings.ReplaceAll(v+rest+"f 1/1/1 2/2/1 3/3/1 4/4/1\n", "\n", "\r\n"),
		"blanks":      "\xef\xbb\xbf  v\t0 0 0 # the marsh\n\n v  2 0 0\nv 2 2 0\nv 0 2 0\n\tf 1  2\t3 4   \n",
		"later":       "f 1 2 3 4\n" + v,
		"triangles":   v + "f 1 2 3\nf 1 3 4",
		"twice named": v + "f 1 1 2 3 4 1\n",
	} {
		t.Run(name, func(t *testing.T) {
			a := mustRead(t, "square.obj", text)
			require.Len(t, a.Nodes, 1)
			m := a.Nodes[0].Mesh
			assert.Equal(t, "square", a.Nodes[0].Name)
			assert.Len(t, m.P, 4)
			assert.Len(t, m.Tri, 2)
			assert.InDelta(t, 4, area(m), 1e-12)
			for _, n := range m.N {
				assert.Equal(t, geom.Vec{Z: 1}, n)
			}
			if m.UV != nil {
				for i, p := range m.P {
					assert.Equal(t, geom.UV{U: p.X / 2, V: 1 - p.Y/2}, m.UV[i], "v runs down here")
				}
			}
		})
	}
}

// The triangles of a polygon fill it and no more: their areas, all turning as the polygon does, add up to its own by
// the shoelace formula.
func TestPolygons(t *testing.T) {
	star := make([]geom.Vec, 14)
	for i := range star {
		r := 1.0
		if i%2 == 1 {
			r = 0.35
		}
		star[i] = geom.Vec{X: r * math.Cos(math.Pi*float64(i)/7), Y: r * math.Sin(math.Pi*float64(i)/7)}
	}
	comb := []geom.Vec{{X: 0, Y: 0}, {X: 61, Y: 0}}
	for i := 30; i >= 0; i-- {
		comb = append(comb, geom.Vec{X: float64(2*i) + 1, Y: 5}, geom.Vec{X: float64(2 * i), Y: 1})
	}
	for name, p := range map[string][]geom.Vec{
		"concave quad, first":  {{X: 1, Y: 1}, {X: 0, Y: 3}, {X: 0, Y: 0}, {X: 3, Y: 0}},
		"concave quad, second": {{X: 3, Y: 0}, {X: 1, Y: 1}, {X: 0, Y: 3}, {X: 0, Y: 0}},
		"L":                    {{}, {X: 3}, {X: 3, Y: 1}, {X: 1, Y: 1}, {X: 1, Y: 3}, {Y: 3}},
		"star":                 star,
		"comb":                 comb,
		"hole by a bridge":     {{}, {X: 4}, {X: 4, Y: 4}, {Y: 4}, {}, {X: 1, Y: 1}, {X: 1, Y: 2}, {X: 2, Y: 2}, {X: 2, Y: 1}, {X: 1, Y: 1}},
		"corners in line":      {{}, {X: 1}, {X: 2}, {X: 2, Y: 1}, {X: 1, Y: 1}, {Y: 1}},
	} {
		for turn := range 3 {
			f := geom.NewFrame([]geom.Vec{{Z: 1}, {X: 0.3, Y: -0.5, Z: 0.4}, {X: -1, Y: 0.1}}[turn].Unit())
			q := make([]geom.Vec, len(p))
			want := 0.0
			for i, a := range p {
				q[i] = f.World(a).Add(geom.Vec{X: 100})
				b := p[(i+1)%len(p)]
				want += (a.X*b.Y - b.X*a.Y) / 2
			}
			steps := 1 << 20
			tri := polygon(q, nil, &steps)
			assert.Len(t, tri, len(p)-2, name)
			sum, turned := 0.0, 0.0
			for _, c := range tri {
				x := q[c[1]].Sub(q[c[0]]).Cross(q[c[2]].Sub(q[c[0]]))
				sum += x.Len() / 2
				turned += x.Dot(f.N) / 2
			}
			assert.InDelta(t, want, turned, 1e-9, name)
			assert.InDelta(t, math.Abs(want), sum, 1e-9, name)
		}
	}
	// The shorter diagonal of a kite; and a polygon that costs too much is a fan.
	steps := 1 << 20
	assert.Equal(t, [][3]int{{0, 1, 3}, {1, 2, 3}}, polygon([]geom.Vec{{X: -5}, {Y: -1}, {X: 5}, {Y: 1}}, nil, &steps))
	assert.Equal(t, [][3]int{{0, 1, 2}, {0, 2, 3}}, polygon([]geom.Vec{{X: -1}, {Y: -5}, {X: 1}, {Y: 5}}, nil, &steps))
	steps = 0
	assert.Len(t, polygon(comb, nil, &steps), len(comb)-2)
}

// Objects, groups and materials make parts with names that a scene can give.
func TestObjParts(t *testing.T) {
	const v = "v 0 0 0\nv 1 0 0\nv 0 1 0\n"
	names := func(text string) (out []string) {
		for _, n := range mustRead(t, "marsh.obj", v+text).Nodes {
			out = append(out, n.Name)
		}
		return
	}
	assert.Equal(t, []string{"outer", "inner"}, names("o outer\ng a\nf 1 2 3\no inner\ng b\nf 1 2 3\n"))
	assert.Equal(t, []string{"outer shell", "inner"}, names("g outer shell\nf 1 2 3\ng inner\nf 1 2 3\ng outer shell\nf 1 2 3\n"))
	assert.Equal(t, []string{"eye/outer", "eye/inner"}, names("o eye\ng outer\nf 1 2 3\ng inner\nf 1 2 3\n"))
	assert.Equal(t, []string{"eye", "eye#2"}, names("o eye\nusemtl wet\nf 1 2 3\nusemtl dry\nf 1 2 3\n"))
	assert.Equal(t, []string{"marsh"}, names("f 1 2 3\n"))
}

// Two squares at a right angle: one smoothing group bends the normals at the fold by 45 degrees, none or two do not.
func TestObjSmoothing(t *testing.T) {
	const v = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv 0 0 -1\nv 0 1 -1\n"
	normals := func(s1, s2 string) map[geom.Vec]int {
		m := mustRead(t, "fold.obj", v+s1+"f 1 2 3 4\n"+s2+"f 1 4 6 5\n").Nodes[0].Mesh
		out := map[geom.Vec]int{}
		for _, n := range m.N {
			out[geom.Vec{X: math.Round(n.X * 1e6), Y: math.Round(n.Y * 1e6), Z: math.Round(n.Z * 1e6)}]++
		}
		return out
	}
	flat := map[geom.Vec]int{{Z: 1e6}: 4, {X: -1e6}: 4}
	smooth := map[geom.Vec]int{{Z: 1e6}: 2, {X: -1e6}: 2, {X: -707107, Z: 707107}: 2}
	assert.Equal(t, smooth, normals("s 1\n", ""))
	assert.Equal(t, smooth, normals("", ""), "without any statement the surface is smooth")
	assert.Equal(t, flat, normals("s off\n", ""))
	assert.Equal(t, flat, normals("s 0\n", "s off\n"))
	assert.Equal(t, flat, normals("s 1\n", "s 2\n"))
}

// All that is wrong comes in one go, each with its line.
func TestObjProblems(t *testing.T) {
	_, err := Read(put(t, "bad.obj", "v 0 0 0\nv 1 x 0\nv 1 nan 0\nv 1 0\nvn 0 0\nf 1 2 7\nf 1 2/9 3\nf 0 1 2\nf 1/a 2 3\nf 1 2 -9\ns maybe\n"), "mm")
	require.Error(t, err)
	var got []string
	for _, p := range err.(Problems) {
		got = append(got, p.Where+" "+p.Message)
	}
	assert.Equal(t, []string{
		`2 v: "x" is no finite number`, `3 v: "nan" is no finite number`, `4 v has 2 numbers, wants 3`, `5 vn has 2 numbers, wants 3`,
		`8 f: "0" is no corner: it wants v, v/vt, v//vn or v/vt/vn, whole numbers from 1 or back from -1`,
		`9 f: "1/a" is no corner: it wants v, v/vt, v//vn or v/vt/vn, whole numbers from 1 or back from -1`,
		`10 f: "-9" is no corner: it wants v, v/vt, v//vn or v/vt/vn, whole numbers from 1 or back from -1`,
		`11 s "maybe": a smoothing group is off or a whole number`,
		`6 f refers to vertex 7, the file has 4`, `7 f refers to texture coordinate 9, the file has 0`,
	}, got)
	_, err = Read(put(t, "bad.obj", strings.Repeat("v 1 2 z\n", 5000)), "mm")
	assert.Len(t, err, MaxProblems+1)
	assert.ErrorContains(t, err, "more problems")
	for text, want := range map[string]string{"": "the file is empty", "v 1 2 3\n": "shows no triangles", "\xff\xfev\x00": "UTF-16", "f 1 2\nv 0 0 0\nv 1 1 1\n": "shows no triangles"} {
		_, err = Read(put(t, "bad.obj", text), "mm")
		assert.ErrorContains(t, err, want)
	}
}

const leaf = "mtllib marsh.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nvt 1 0\nvt 0 1\nusemtl reed\nf 1/1 2/2 3/3\n"

func notes(a *asset.Asset) string { return strings.Join(a.Notes, "\n") }

func TestMtl(t *testing.T) {
	dir := t.TempDir()
	pic := filepath.Join(dir, "reed leaf.png")
	require.NoError(t, writePNG(pic, 2, 2, 188, 188, 188))
	require.NoError(t, writePNG(filepath.Join(dir, "bumps.png"), 2, 2, 128, 128, 255))
	require.NoError(t, writePNG(filepath.Join(dir, "hills.png"), 2, 2, 90, 90, 90))
	write := func(mtl string) *asset.Asset {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "leaf.obj"), []byte(leaf), 0o666))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "marsh.mtl"), []byte(mtl), 0o666))
		a, err := Read(filepath.Join(dir, "leaf.obj"), "mm")
		require.NoError(t, err)
		return a
	}
	a := write("# salt\nnewmtl reed\nKd 0.2 0.4 0.1\r\nKs 1 1 1\nillum 2\nNs 198\nNi 1.4\nd 0.75\nmap_Kd -clamp on -o 0.25 0.5 -s 2 3 1 reed leaf.png\nmap_Bump -bm 0.5 bumps.png\n")
	m := a.Nodes[0].Material
	assert.Equal(t, "reed", m.Name)
	assert.Equal(t, colour.RGB{0.2, 0.4, 0.1}, m.BaseColour)
	assert.InDelta(t, math.Sqrt(0.1), m.Roughness, 1e-12) // alpha^2 = 2/(Ns + 2)
	assert.Equal(t, 1.4, m.IOR)
	assert.Equal(t, 0.25, m.Transmission)
	assert.Equal(t, texture.Clamp, m.Wrap)
	require.NotNil(t, m.BaseMap)
	assert.InDelta(t, 0.5029, m.BaseMap.At(0, 0, 0), 1e-3, "188 of 255 is half the light, IEC 61966-2-1")
	require.NotNil(t, m.NormalMap)
	assert.Equal(t, 0.5, m.NormalScale)
	// Texture coordinates up: (0,0), (1,0), (0,1) become 2u + 0.25, 3v + 0.5.
	for i, p := range a.Nodes[0].Mesh.P {
		assert.Equal(t, geom.UV{U: 2*p.X + 0.25, V: 1 - (3*p.Y + 0.5)}, a.Nodes[0].Mesh.UV[i])
	}
	assert.Contains(t, notes(a), "the normal map is laid on as the colour map is")

	a = write("newmtl reed\nbump hills.png\nTr 0.25\nKd 2 0 0\nNi 0\nfurriness 3\nmap_Kd none.png\ndisp hills.png\nmap_Kd -mm 0.1 2 hills.png\n")
	for _, want := range []string{"line 2: the bump map \"hills.png\" is a map of heights", "line 4: Kd 2 0 0", "line 5: Ni 0 is outside [1, 4]",
		"line 6: \"furriness\" is not read", `line 7: the picture "none.png" does not exist`, "line 8: the displacement map", "line 9: -mm"} {
		assert.Contains(t, notes(a), want)
	}
	assert.Equal(t, 0.25, a.Nodes[0].Material.Transmission)
	assert.Nil(t, a.Nodes[0].Material.NormalMap)
	assert.InDelta(t, 2, a.Nodes[0].Material.BaseColour[0], 1e-12)
}

// Nothing outside the folder of the file is opened: the sought files exist, and still do not show.
func TestNothingOutsideIsOpened(t *testing.T) {
	out := t.TempDir()
	dir := filepath.Join(out, "asset")
	require.NoError(t, os.Mkdir(dir, 0o777))
	secret := filepath.Join(out, "marsh.mtl")
	require.NoError(t, os.WriteFile(secret, []byte("newmtl reed\nKd 0 0 0\n"), 0o666))
	require.NoError(t, os.Symlink(secret, filepath.Join(dir, "link.mtl")))
	require.NoError(t, os.Symlink(out, filepath.Join(dir, "up")))
	for _, name := range []string{"../marsh.mtl", secret, "link.mtl", "up/marsh.mtl", "x/../../marsh.mtl", `..\marsh.mtl`, "file://" + secret, "https://example.org/marsh.mtl", "//host/marsh.mtl", `C:\marsh.mtl`, "."} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(dir, "leaf.obj")
			require.NoError(t, os.WriteFile(path, []byte(strings.Replace(leaf, "marsh.mtl", name, 1)), 0o666))
			a, err := Read(path, "mm")
			require.NoError(t, err)
			assert.Empty(t, a.Nodes[0].Material.Name)
			assert.Contains(t, notes(a), "the material library ")
			// The same for a picture of a library.
			require.NoError(t, os.WriteFile(path, []byte(leaf), 0o666))
			require.NoError(t, os.WriteFile(filepath.Join(dir, "marsh.mtl"), []byte("newmtl reed\nmap_Kd "+name+"\n"), 0o666))
			a, err = Read(path, "mm")
			require.NoError(t, err)
			assert.Nil(t, a.Nodes[0].Material.BaseMap)
			assert.Contains(t, notes(a), "it is left out")
		})
	}
}

func writePNG(path string, w, h int, r, g, b uint8) error {
	return imageio.WritePNG(path, w, h, 3, bytes.Repeat([]byte{r, g, b}, w*h), nil)
}
