package render

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/film"
	"catchlight/scene/imageio"
)

// marshPasses is an eye beside a lamp, under a sky from a picture, with glass and a card, so that light takes every way.
func marshPasses(t *testing.T) string {
	sky := filepath.Join(t.TempDir(), "sky.pfm")
	pix := make([]float32, 3*32*16)
	for i := range pix {
		pix[i] = 0.2 + float32(i%7)/5 + float32(i/96)/9
	}
	require.NoError(t, imageio.WritePFM(sky, 32, 16, 3, pix))
	return fmt.Sprintf(`
picture: {width: 40, height: 34, samples: 9, passes: {lights: true, paths: true, surfaces: true, errors: true}}
camera: {kind: orthographic, width: 30, target: [0, 0, 8], orbit: {azimuth: 10, distance: 200}}
lights:
  - {name: marsh, kind: environment, file: %q}
  - {name: lamp, kind: rectangle, orbit: {azimuth: 30, elevation: 30, distance: 300}, width: 60, height: 60, radiance: [800, 700, 600]}
  - {name: dark, kind: constant, radiance: 0.1, on: false}
  - {name: sun, kind: distant, angle: 2, orbit: {azimuth: -50, elevation: 20}, irradiance: [2, 2, 2]}
objects:
  - {name: eye, shape: eye, map_size: 128}
  - {name: bead, shape: sphere, radius: 2, transform: {translate: [12, 8, 12]}, material: {kind: dielectric}}
`, sky)
}

// Lights add up to the picture, and so do paths, in float32 within 1e-6 of the larger of 1 and the pixel; asking for passes
// changes no bit of the picture. Surfaces say what a probe says.
func TestPassesAddUp(t *testing.T) {
	yaml := marshPasses(t)
	p := prepare(t, yaml)
	r := finish(t, p)
	path := filepath.Join(t.TempDir(), "a.exr")
	require.NoError(t, r.Write(path))
	pic, err := imageio.Read(path)
	require.NoError(t, err)
	require.True(t, sameLight(finish(t, prepare(t, yaml, "picture.passes={}")), r), "passes change the picture")
	sums := map[string]*[3][]float64{}
	for i, name := range pic.Names {
		for _, kind := range []string{film.PassLight, film.PassPath} {
			if !strings.HasPrefix(name, kind) || strings.Contains(name, ".error.") {
				continue
			}
			c := strings.Index("RGB", name[len(name)-1:])
			if sums[kind] == nil {
				sums[kind] = &[3][]float64{make([]float64, pic.W*pic.H), make([]float64, pic.W*pic.H), make([]float64, pic.W*pic.H)}
			}
			some := false
			for k, v := range pic.Pix[i] {
				sums[kind][c][k] += float64(v)
				some = some || v != 0
			}
			require.NotNil(t, pic.Channel(name[:len(name)-1]+"error."+name[len(name)-1:]), name)
			if c == 1 {
				require.True(t, some, "%s is black", name)
			}
		}
	}
	whole := pic.RGB()
	for kind, sum := range sums {
		for c := range 3 {
			for k, v := range whole[c] {
				if d := math.Abs(sum[c][k] - float64(v)); d > 1e-6*max(1, float64(v)) {
					t.Fatalf("%s: pixel %d, channel %d: parts make %v, the picture is %v", kind, k, c, sum[c][k], v)
				}
			}
		}
	}
	require.Len(t, sums, 2)
	for _, n := range []string{"light.marsh.left.R", "light.marsh.behind.G", "light.lamp.B", "path.focused.R", "path.passed.R", "path.seen.R", "samples", "error.G"} {
		require.NotNil(t, pic.Channel(n), n)
	}
	for _, at := range [][2]int{{20, 17}, {5, 17}, {0, 0}, {25, 20}} {
		q, err := p.Probe(at[0], at[1])
		require.NoError(t, err)
		i := at[1]*pic.W + at[0]
		if len(q.Places) == 0 {
			require.Zero(t, pic.Channel("zone.id")[i])
			require.Zero(t, pic.Channel("part.id")[i])
			continue
		}
		first, last := q.Places[0], q.Places[len(q.Places)-1]
		require.InDelta(t, first.World.X, pic.Channel("position.X")[i], 1e-4)
		require.InDelta(t, first.World.Z, pic.Channel("position.Z")[i], 1e-4)
		require.InDelta(t, last.UV.U, pic.Channel("uv.U")[i], 1e-6)
		id := int(pic.Channel("part.id")[i])
		require.Equal(t, last.Object, p.Scene.Objects[id-1].Name)
		require.Equal(t, float32(p.Regions(Options{}).Zone[i]), pic.Channel("zone.id")[i])
		n := [3]float64{float64(pic.Channel("normal.geometric.X")[i]), float64(pic.Channel("normal.geometric.Y")[i]), float64(pic.Channel("normal.geometric.Z")[i])}
		require.InDelta(t, 1, math.Sqrt(n[0]*n[0]+n[1]*n[1]+n[2]*n[2]), 0.02)
	}
	// The camera is 200 mm from its target along its axis: a point on the plane through the target is that deep.
	x, z, d := pic.Channel("position.X")[17*pic.W+20], pic.Channel("position.Z")[17*pic.W+20], pic.Channel("depth.Z")[17*pic.W+20]
	s, c := math.Sincos(10 * math.Pi / 180)
	require.InDelta(t, 200-(float64(x)*s+(float64(z)-8)*c), float64(d), 1e-3)
}

// What the cornea focuses is told twice, by the pass and by the count of light that came straight through it: without mirrors and with a lamp alone
// they are the same. Nothing of it comes from the white.
func TestPassesKnowFocusedLight(t *testing.T) {
	p := prepare(t, `
picture: {width: 32, height: 32, samples: 8, passes: {paths: true}}
camera: {kind: orthographic, width: 26, target: [0, 0, 8], orbit: {azimuth: 0}}
lights: [{name: lamp, kind: rectangle, orbit: {azimuth: 30, elevation: 30, distance: 600}, radiance: [8, 7, 6]}]
objects: [{name: eye, shape: eye, map_size: 128}]
effects: {tear_film: false}
`)
	r := finish(t, p)
	zones := p.Regions(Options{}).Zone
	for i, q := range r.Film.Passes() {
		if q.Name != film.PassPath+"focused" {
			continue
		}
		mean, _ := r.Film.PassRows(i, 0, 32)
		sum, white := 0.0, 0.0
		for k, m := range mean {
			sum += m.Luminance() / float64(len(mean))
			if zones[k] == Sclera {
				white += m.Luminance() / float64(len(mean))
			}
		}
		require.Greater(t, sum, 0.0)
		require.InEpsilon(t, r.Stats.Bent, sum, 1e-9)
		require.Less(t, white, 0.1*sum, "of the white only what walks there under the limbus")
		return
	}
	t.Fatal("there is no such pass")
}

func sameLight(a, b *Result) bool {
	p, q := a.Film.Develop(), b.Film.Develop()
	for i := range p.Mean {
		if p.Mean[i] != q.Mean[i] || p.Alpha[i] != q.Alpha[i] {
			return false
		}
	}
	return len(p.Mean) == len(q.Mean)
}

// The file by the published layout (Academy Software Foundation, OpenEXR File Layout), read here by other code than the
// package's own: version 2 with the flag of several parts, headers with what each must have, an empty one, a table of places
// for each part, and in each place a chunk with its part, its line and its length, which fill the file without a gap.
func TestPassesLayout(t *testing.T) {
	p := prepare(t, strings.Replace(marshPasses(t), "samples: 9", "samples: 1", 1))
	path := filepath.Join(t.TempDir(), "a.exr")
	require.NoError(t, finish(t, p).Write(path))
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	le := binary.LittleEndian
	require.Equal(t, []byte{0x76, 0x2f, 0x31, 0x01}, data[:4])
	require.Equal(t, uint32(2|0x1000), le.Uint32(data[4:])&^0x400)
	at := 8
	text := func() string {
		n := bytes.IndexByte(data[at:], 0)
		s := string(data[at : at+n])
		at += n + 1
		return s
	}
	type header map[string][]byte
	var parts []header
	for data[at] != 0 {
		h := header{}
		for data[at] != 0 {
			name, kind := text(), text()
			n := int(le.Uint32(data[at:]))
			h[name+" "+kind] = data[at+4 : at+4+n]
			at += 4 + n
		}
		at++
		for _, need := range []string{"channels chlist", "compression compression", "dataWindow box2i", "displayWindow box2i", "lineOrder lineOrder",
			"pixelAspectRatio float", "screenWindowCenter v2f", "screenWindowWidth float", "name string", "type string", "chunkCount int"} {
			require.Contains(t, h, need)
		}
		require.Equal(t, "scanlineimage", string(h["type string"]))
		require.Equal(t, uint32(3), le.Uint32(h["chunkCount int"]), "34 lines in blocks of 16")
		parts = append(parts, h)
	}
	at++
	// Three lights, of which one has six sides; five ways; eight parts of surfaces; the picture.
	require.Len(t, parts, 1+8+5+8)
	require.Equal(t, "picture", string(parts[0]["name string"]))
	seen := map[int]int{}
	for i := range parts {
		for b := range 3 {
			place := int(le.Uint64(data[at+8*(3*i+b):]))
			require.Equal(t, uint32(i), le.Uint32(data[place:]))
			require.Equal(t, uint32(16*b), le.Uint32(data[place+4:]))
			seen[place] = place + 12 + int(le.Uint32(data[place+8:]))
		}
	}
	end := at + 8*3*len(parts)
	for range seen {
		next, ok := seen[end]
		require.True(t, ok, "no chunk begins at %d", end)
		end = next
	}
	require.Equal(t, len(data), end)
}
