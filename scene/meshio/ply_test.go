package meshio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// plyFile writes a unit cube of six quads in a coding, with extra properties of odd types between those that count.
func plyFile(format string) string {
	var b bytes.Buffer
	fmt.Fprintf(&b, "ply\nformat %s 1.0\ncomment unit: cm\nelement marsh 1\nproperty double tide\nproperty list uchar short birds\nelement vertex 8\n"+
		"property uchar red\nproperty double y\nproperty float x\nproperty short z\nproperty float s\nproperty float t\nelement face 6\nproperty float heat\nproperty list uchar int vertex_indices\nend_header\n", format)
	var order binary.AppendByteOrder
	switch format {
	case "binary_little_endian":
		order = binary.LittleEndian
	case "binary_big_endian":
		order = binary.BigEndian
	}
	put := func(size int, v float64) {
		var x []byte
		switch {
		case order == nil:
			x = fmt.Appendf(nil, "%g ", v)
		case size == 1:
			x = []byte{byte(v)}
		case size == 2:
			x = order.AppendUint16(nil, uint16(int16(v)))
		case size == 4:
			x = order.AppendUint32(nil, math.Float32bits(float32(v)))
		case size == -4:
			x = order.AppendUint32(nil, uint32(v))
		default:
			x = order.AppendUint64(nil, math.Float64bits(v))
		}
		b.Write(x)
	}
	end := func() {
		if order == nil {
			b.WriteByte('\n')
		}
	}
	put(8, 2.5)
	put(1, 2)
	put(2, -1)
	put(2, 7)
	end()
	for i := range 8 {
		put(1, 200)
		put(8, float64(i>>1&1))
		put(4, float64(i&1))
		put(2, float64(i>>2&1)-1)
		put(4, 0.25*float64(i&1))
		put(4, 0.125)
		end()
	}
	for _, q := range [][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		put(4, 0.5)
		put(1, 4)
		for _, v := range q {
			put(-4, float64(v))
		}
		end()
	}
	return b.String()
}

func TestPlyCodings(t *testing.T) {
	for _, format := range []string{"ascii", "binary_little_endian", "binary_big_endian"} {
		t.Run(format, func(t *testing.T) {
			a := mustRead(t, "cube.ply", plyFile(format))
			m := a.Nodes[0].Mesh
			assert.Equal(t, "cube", a.Nodes[0].Name)
			assert.Len(t, m.P, 8)
			assert.Len(t, m.Tri, 12)
			assert.InDelta(t, 1, m.Volume(), 1e-12)
			assert.Equal(t, geom.Box{Lo: geom.Vec{Z: -1}, Hi: geom.Vec{X: 1, Y: 1}}, m.Bounds())
			open, odd := mesh.Closed(m)
			assert.Zero(t, open+odd)
			for i, p := range m.P {
				assert.Equal(t, geom.UV{U: 0.25 * p.X, V: 0.875}, m.UV[i])
			}
			assert.Contains(t, notes(a), "vertex colours are not read: red, green and blue are not all there")
			assert.Nil(t, a.Nodes[0].Colour)
			_, err := Read(put(t, "cube.ply", plyFile(format)), "")
			assert.ErrorContains(t, err, `a comment in it says "comment unit: cm"`)
		})
	}
}

// Colours of vertices: bytes are sRGB, floats linear; vertices that nobody uses go with theirs, and those in one place stay apart.
func TestVertexColours(t *testing.T) {
	head := "ply\nformat ascii 1.0\nelement vertex 5\nproperty float x\nproperty float y\nproperty float z\nproperty T red\nproperty T green\nproperty T blue\n" +
		"element face 2\nproperty list uchar int vertex_indices\nend_header\n"
	a := mustRead(t, "reed.ply", strings.ReplaceAll(head, "T", "uchar")+"9 9 9 1 1 1\n0 0 0 188 0 255\n1 0 0 0 255 0\n0 1 0 0 0 0\n0 0 0 255 255 255\n3 1 2 3\n3 4 3 2\n")
	require.Len(t, a.Nodes[0].Mesh.P, 4)
	assert.InDelta(t, 0.5, a.Nodes[0].Colour[0][0], 0.005) // half the light is code 188
	assert.Equal(t, colour.RGB{0, 1, 0}, a.Nodes[0].Colour[1])
	assert.Equal(t, colour.RGB{1, 1, 1}, a.Nodes[0].Colour[3])
	a = mustRead(t, "reed.ply", strings.ReplaceAll(head, "T", "float")+"9 9 9 1 1 1\n0 0 0 .5 0 -1\n1 0 0 0 1 0\n0 1 0 0 0 0\n0 0 0 1 1 1\n3 1 2 3\n3 4 3 2\n")
	assert.Equal(t, colour.RGB{0.5, 0, 0}, a.Nodes[0].Colour[0])
	a = mustRead(t, "reed.obj", "v 0 0 0 1 0 0\nv 2 0 0 0 1 0\nv 2 2 0 0 0 0.5\nf 3 1 2\n")
	require.Len(t, a.Nodes[0].Colour, 3)
	assert.InDelta(t, 0.214, a.Nodes[0].Colour[0][2], 1e-3)
	assert.Equal(t, colour.RGB{1, 0, 0}, a.Nodes[0].Colour[1])
}

// Normals of vertices, texture coordinates of corners, and strips.
func TestPlyMore(t *testing.T) {
	const head = "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n"
	a := mustRead(t, "a.ply", head+"property float nx\nproperty float ny\nproperty float nz\nelement tristrips 1\nproperty list int int vertex_indices\nend_header\n"+
		"0 0 0 0 0 2\n1 0 0 0 0 2\n0 1 0 0 0 2\n1 1 0 0 0 2\n8 0 1 2 3 -1 0 1 2\n")
	m := a.Nodes[0].Mesh
	assert.Len(t, m.Tri, 3)
	assert.Equal(t, [3]uint32{0, 1, 2}, m.Tri[0])
	assert.Equal(t, [3]uint32{1, 3, 2}, m.Tri[1], "every other triangle of a strip is turned")
	assert.Equal(t, geom.Vec{Z: 1}, m.N[0])
	a = mustRead(t, "a.ply", head+"element face 2\nproperty list uchar int vertex_index\nproperty list uchar float texcoord\nend_header\n"+
		"0 0 0\n1 0 0\n1 1 0\n0 1 0\n3 0 1 2 6 0 0 1 0 1 1\n3 0 2 3 6 0.5 0 1 1 0 1\n")
	m = a.Nodes[0].Mesh
	assert.Len(t, m.P, 5, "one corner is split by its texture coordinates")
	for i, tri := range m.Tri {
		for _, v := range tri {
			if p := m.P[v]; i == 1 && p == (geom.Vec{}) {
				assert.Equal(t, geom.UV{U: 0.5, V: 1}, m.UV[v])
			} else {
				assert.Equal(t, geom.UV{U: p.X, V: 1 - p.Y}, m.UV[v])
			}
		}
	}
}

func TestPlyProblems(t *testing.T) {
	const xyz = "property float x\nproperty float y\nproperty float z\n"
	const f = "element face 1\nproperty list uchar int vertex_indices\nend_header\n"
	for _, c := range []struct{ text, want string }{
		{"goat\n", `:1: the first line is "goat"`},
		{"ply\nformat ascii 1.0\n", "the header does not end"},
		{"ply\nformat morse 1.0\nelement vertex x\nproperty quark q\nproperty list float int i\nend_header\n", ":2: format \"morse\""},
		{"ply\nformat ascii 1.0\nelement vertex 4000000000\n" + xyz + f, ":3: element vertex: 4000000000 of them, the file has"},
		{"ply\nformat binary_little_endian 1.0\nelement vertex 9000000000000000000\n" + xyz + f, "9000000000000000000 of them"},
		{"ply\nformat ascii 1.0\nelement vertex 1\n" + f + "1\n", ":3: element vertex has no properties"},
		{"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\n" + f + "1\n", "lacks x, y or z"},
		{"ply\nformat ascii 1.0\nelement vertex 3\n" + xyz + f + "0 0 0\n1 0 0\n0 1 0\n3 0 1 9\n", ":13: a face uses vertex 9, the file has 3"},
		{"ply\nformat ascii 1.0\nelement vertex 3\n" + xyz + f + "0 0 0\n1 0 goat\n", ":11: \"goat\" is no number"},
		{"ply\nformat ascii 1.0\nelement vertex 3\n" + xyz + f + "0 0 0\n1 0 0\n0 nan 0\n3 0 1 2\n", ":12: a vertex at (0, NaN, 0)"},
		{"ply\nformat ascii 1.0\nelement vertex 3\n" + xyz + f + "0 0 0\n1 0 0\n0 1 0\n250 0 1 2\n", "a list of 250 values"},
		{"ply\nformat binary_big_endian 1.0\nelement vertex 3\n" + xyz + f + "\x00\x00\x00\x00", "byte 170: the file ends within its elements"},
		{"ply\nformat ascii 1.0\nelement vertex 1\n" + xyz + "end_header\n1 2 3\n", "shows no triangles"},
	} {
		_, err := Read(put(t, "bad.ply", c.text), "mm")
		require.Error(t, err, c.want)
		assert.ErrorContains(t, err, c.want)
	}
	_, err := Read(put(t, "bad.ply", "ply\nformat morse 1.0\nelement vertex x\nproperty quark q\nproperty list float int i\nend_header\n"), "mm")
	assert.Len(t, err, 4, "all that is wrong with a header in one go")
}
