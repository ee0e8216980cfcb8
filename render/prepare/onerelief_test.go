package prepare

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// waveMaps returns a height map of waves across a square of n texels (value 0 to 1 for -1 to 1) and the normal map of the same
// surface where the square is side mm wide and the value 1 is amplitude mm. Closed form: slopes are the waves' derivatives.
func waveMaps(n int, ku, kv, side, amplitude float64) (height, normal []float32) {
	for y := range n {
		for x := range n {
			u, v := (float64(x)+0.5)/float64(n), (float64(y)+0.5)/float64(n)
			su, cu := math.Sincos(2 * math.Pi * ku * u)
			sv, cv := math.Sincos(2 * math.Pi * kv * v)
			height = append(height, float32(0.5+0.25*(su+sv)))
			k := amplitude * 0.25 * 2 * math.Pi / side
			d := geom.Vec{X: -k * ku * cu, Y: k * kv * cv, Z: 1}.Unit() // v runs down
			normal = append(normal, float32(0.5+0.5*d.X), float32(0.5+0.5*d.Y), float32(0.5+0.5*d.Z))
		}
	}
	return
}

// A plane of 8 mm with waves of 1 mm: a fine net shows the whole relief, so the normal map of the same waves is left with nothing,
// and with half where it is asked for at one and a half; a net of two vertices a wave, which meets it at its knots, shows none of it; waves of
// another length are another relief; turned over they contradict.
func TestOneReliefOnce(t *testing.T) {
	const n, side, amplitude = 256, 8.0, 0.1
	h, b := waveMaps(n, 8, 8, side, amplitude)
	_, other := waveMaps(n, 5, 11, side, amplitude)
	var over []float32
	for i, v := range b {
		if i%3 < 2 {
			v = 1 - v
		}
		over = append(over, v)
	}
	height := texture.FromImage(texture.NewImage(n, n, 1, h), texture.Repeat)
	bump := func(pix []float32) texture.Map {
		return texture.FromImage(texture.NewImage(n, n, 3, pix), texture.Repeat)
	}
	plane := func(cells int) *raised {
		m := &mesh.Mesh{}
		for j := range cells + 1 {
			for i := range cells + 1 {
				u, v := float64(i)/float64(cells), float64(j)/float64(cells)
				m.P = append(m.P, geom.Vec{X: side * u, Y: side * (1 - v)})
				m.N, m.UV = append(m.N, geom.Vec{Z: 1}), append(m.UV, geom.UV{U: u, V: v})
				if i < cells && j < cells {
					a, w := uint32(j*(cells+1)+i), uint32(cells+1)
					m.Tri = append(m.Tri, [3]uint32{a, a + w, a + 1}, [3]uint32{a + 1, a + w, a + w + 1})
				}
			}
		}
		r := &raised{base: &mesh.Mesh{P: append([]geom.Vec(nil), m.P...), N: m.N, UV: m.UV, Tri: m.Tri}, height: height, scale: amplitude}
		require.NoError(t, displace(m, height, 0.5, amplitude))
		r.after = m.N
		return r
	}
	fine, coarse := plane(161), plane(16)
	for _, c := range []struct {
		name       string
		r          *raised
		bump       texture.Map
		gain, want float64
		off        float64
		says       string
	}{
		{"fine", fine, bump(b), 1, 0, 0.06, "show one relief"},
		{"fine, stronger", fine, bump(b), 1.5, 0.5, 0.06, "show one relief"},
		{"coarse", coarse, bump(b), 1, 1, 0.06, "show one relief"},
		{"another", fine, bump(other), 1, 1, 0, ""},
		{"inside out", fine, bump(over), 1, 1, 0, "contradict"},
		{"no height", nil, bump(b), 1, 1, 0, ""},
	} {
		got, note := c.r.once("iris", &c.bump, c.gain)
		t.Logf("%s: %.3f %s", c.name, got, note)
		assert.InDelta(t, c.want, got, c.off, c.name)
		if c.says == "" {
			assert.Empty(t, note, c.name)
		} else {
			assert.Contains(t, note, c.says, c.name)
		}
	}
}

// A built eye that is given both maps of one relief says so and does not tilt its normals twice; with maps of two reliefs it
// takes both in full.
func TestEyeTakesOneReliefOnce(t *testing.T) {
	dir := t.TempDir()
	const n = 256
	h, b := waveMaps(n, 8, 8, 24, 0.3)
	_, other := waveMaps(n, 5, 13, 24, 0.3)
	file := func(name string, c int, pix []float32) string {
		path := filepath.Join(dir, name)
		require.NoError(t, imageio.WritePFM(path, n, n, c, pix))
		return path
	}
	height := file("height.pfm", 1, h)
	for name, same := range map[string]bool{file("same.pfm", 3, b): true, file("other.pfm", 3, other): false} {
		p := prepared(t, fmt.Sprintf(`
picture: {width: 8, height: 8}
camera: {orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, map_size: 128, asset: {file: %s, outer: %s, inner: %s}, limbus: {radius: 5.4, width: 1},
  iris: {height: {file: %s, scale: 0.3, zero_level: 0.5}, normal: {file: %s}}}]
`, soundEye, outerNode, innerNode, height, name))
		gain := p.Scene.Eyes[0].InnerNormalGain
		t.Log(gain, warnings(p, "relief"))
		if same {
			require.Len(t, warnings(p, "show one relief"), 1)
			assert.Less(t, gain, 0.8)
		} else {
			assert.Empty(t, warnings(p, "relief"))
			assert.Equal(t, 1.0, gain)
		}
	}
}
