package meshio

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tetrahedron with its corners on the axes, volume 1/6; turned: wound clockwise, normals still outward.
func tetrahedron(turned bool) (out [][4]geom.Vec) {
	o, x, y, z := geom.Vec{}, geom.Vec{X: 1}, geom.Vec{Y: 1}, geom.Vec{Z: 1}
	for _, t := range [][3]geom.Vec{{o, y, x}, {o, x, z}, {o, z, y}, {x, y, z}} {
		n := t[1].Sub(t[0]).Cross(t[2].Sub(t[0])).Unit()
		if turned {
			t[1], t[2] = t[2], t[1]
		}
		out = append(out, [4]geom.Vec{n, t[0], t[1], t[2]})
	}
	return
}

func stlASCII(t [][4]geom.Vec) string {
	var b strings.Builder
	b.WriteString("solid marsh goat\n")
	for _, f := range t {
		fmt.Fprintf(&b, " facet normal %g %g %g\n  outer loop\n", f[0].X, f[0].Y, f[0].Z)
		for _, v := range f[1:] {
			fmt.Fprintf(&b, "   VERTEX %g %g %g\n", v.X, v.Y, v.Z)
		}
		b.WriteString("  endloop\n endfacet\n")
	}
	return b.String() + "endsolid\n"
}

func stlBinary(head string, t [][4]geom.Vec) string {
	b := make([]byte, 80)
	copy(b, head)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(t)))
	for _, f := range t {
		for _, v := range f {
			for _, x := range [3]float64{v.X, v.Y, v.Z} {
				b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(x)))
			}
		}
		b = append(b, 0, 0)
	}
	return string(b)
}

func TestStl(t *testing.T) {
	for name, text := range map[string]string{
		"ASCII":                    stlASCII(tetrahedron(false)),
		"ASCII, clockwise":         stlASCII(tetrahedron(true)),
		"ASCII, other line ends":   strings.ReplaceAll(stlASCII(tetrahedron(false)), "\n", "\r\n"),
		"binary":                   stlBinary("made on the marsh", tetrahedron(false)),
		"binary, clockwise":        stlBinary("", tetrahedron(true)),
		"binary that says solid":   stlBinary("solid facet of a goat", tetrahedron(false)),
		"binary, bytes after":      stlBinary("", tetrahedron(false)) + "tail",
		"binary, solid with bytes": stlBinary("solid", tetrahedron(false)) + "tail",
	} {
		t.Run(name, func(t *testing.T) {
			a := mustRead(t, "goat.stl", text)
			m := a.Nodes[0].Mesh
			assert.Len(t, m.P, 4)
			assert.InDelta(t, 1./6, m.Volume(), 1e-7)
			open, odd := mesh.Closed(m)
			assert.Zero(t, open+odd)
			assert.Equal(t, strings.Contains(name, "clockwise"), strings.Contains(notes(a), "clockwise"))
			assert.Equal(t, strings.Contains(name, "bytes"), strings.Contains(notes(a), "4 bytes after"))
			if strings.HasPrefix(name, "ASCII") {
				assert.Equal(t, "marsh goat", a.Nodes[0].Name)
			}
		})
	}
	two := mustRead(t, "goat.stl", stlASCII(tetrahedron(false))+stlASCII(tetrahedron(false)))
	assert.Equal(t, "marsh goat#2", two.Nodes[1].Name)
}

func TestStlProblems(t *testing.T) {
	whole := stlBinary("", tetrahedron(false))
	bad := tetrahedron(false)
	bad[2][1].Y = math.Inf(1)
	huge := []byte(whole)
	binary.LittleEndian.PutUint32(huge[80:], 0xffffffff)
	for _, c := range []struct{ text, want string }{
		{"", "the file is empty"},
		{"goat", "byte 4: the file ends within its header"},
		{whole[:200], "byte 80: the header counts 4 triangles, which take 284 bytes; the file has 200"},
		{string(huge), "counts 4294967295 triangles"},
		{stlBinary("", bad), "byte 184: triangle 2 has a corner that is not finite"},
		{stlBinary("", nil), "shows no triangles"},
		{"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 z 0\nendloop\nendfacet\nfacet\nwalrus\nendsolid\n", `:5: a vertex wants 3 finite numbers, has "1 z 0"`},
		{"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 z 0\nendloop\nendfacet\nfacet\nwalrus\nendsolid\n", `:9: "walrus" is no word of the format`},
		{"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\n", "the file ends within a facet"},
		{"\xff\xfes\x00o\x00" + strings.Repeat("x\x00", 100), "UTF-16"},
	} {
		_, err := Read(put(t, "bad.stl", c.text), "mm")
		require.Error(t, err, c.want)
		assert.ErrorContains(t, err, c.want)
	}
}
