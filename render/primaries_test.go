package render

import (
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// A linear file in other primaries says so in its header, holds the colours of the same light, and comes back as it was;
// the errors stay those of Rec. 709, and another choice of primaries is no other render.
//
// Matrices from Rec. 709 to Rec. 2020: ITU-R BT.2087-0, M2; from AP1 to Rec. 709 with Bradford adaptation: Academy
// S-2014-004 and the Academy's published transforms (from memory).
func TestOutputPrimaries(t *testing.T) {
	toRec2020 := colour.Matrix{{0.6274, 0.3293, 0.0433}, {0.0691, 0.9195, 0.0114}, {0.0164, 0.0880, 0.8956}}
	fromAP1 := colour.Matrix{{1.70505, -0.62179, -0.08326}, {-0.13026, 1.14080, -0.01055}, {-0.02400, -0.12897, 1.15297}}
	dir := t.TempDir()
	write := func(name string) *imageio.Picture {
		p := prepare(t, "picture: {width: 6, height: 4, samples: 2}\ncamera: {orbit: {distance: 100}}\nlights: [{name: sky, kind: constant, radiance: [0.9, 0.4, 0.05]}]\n"+
			"objects: [{name: float, shape: sphere, radius: 9, material: {colour: [0.1, 0.4, 0.8]}}]", "picture.primaries="+name, "picture.denoise=true")
		file := filepath.Join(dir, name+".exr")
		require.NoError(t, finish(t, p).Write(file))
		require.NoError(t, finish(t, p).Write(filepath.Join(dir, name+".pfm")))
		pic, err := imageio.Read(file)
		require.NoError(t, err)
		return pic
	}
	at := func(p *imageio.Picture, layer string, i int) (c colour.RGB) {
		for k, n := range []string{"R", "G", "B"} {
			c[k] = float64(p.Channel(layer + n)[i])
		}
		return c
	}
	plain := write("rec709")
	require.Nil(t, plain.Primaries)
	for name, p := range map[string]colour.Primaries{"p3-d65": colour.P3, "rec2020": colour.Rec2020, "ap1": colour.AP1} {
		pic := write(name)
		require.NotNil(t, pic.Primaries, name)
		require.True(t, pic.Primaries.Near(p), name)
		require.Contains(t, pic.Attrs["primaries"], name)
		turned := 0.0
		for i := range pic.W * pic.H {
			a, b := at(plain, "", i), at(pic, "", i)
			switch name {
			case "rec2020":
				for k, want := range toRec2020.Apply(a) {
					require.InDelta(t, want, b[k], 1e-4)
				}
			case "ap1":
				for k, want := range a {
					require.InDelta(t, want, fromAP1.Apply(b)[k], 2e-4)
				}
			}
			turned = max(turned, math.Abs(a[0]-b[0]))
			require.Equal(t, at(plain, "error.", i), at(pic, "error.", i))
			require.NotEqual(t, at(plain, CleanLayer+".", i), at(pic, CleanLayer+".", i))
		}
		require.Greater(t, turned, 0.01, name)
		pic.Working()
		for i := range pic.W * pic.H {
			a, b := at(plain, "", i), at(pic, "", i)
			for k := range a {
				require.InDelta(t, a[k], b[k], 1e-6, name)
			}
		}
		other, err := imageio.Read(filepath.Join(dir, name+".pfm"))
		require.NoError(t, err)
		for i := range pic.W * pic.H {
			require.Equal(t, at(plain, "", i), at(other, "", i), "files without a header for primaries stay in Rec. 709")
		}
	}
	one, err := IdentityOf(prepare(t, marshEye).Description)
	require.NoError(t, err)
	two, err := IdentityOf(prepare(t, marshEye, "picture.primaries=ap1").Description)
	require.NoError(t, err)
	require.Equal(t, one, two)
}

// A map's file may state its primaries: auto goes by them, an explicit space takes precedence over them.
func TestSpaceBeforeFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "bark.exr")
	c := colour.RGB{0.2, 0.5, 0.1}
	var ch []imageio.EXRChannel
	for k, n := range []string{"R", "G", "B"} {
		v := float32(c[k])
		ch = append(ch, imageio.EXRChannel{Name: n, Pix: []float32{v, v}})
	}
	require.NoError(t, imageio.WriteEXRIn(file, 2, 1, ch, nil, colour.AP1))
	for space, want := range map[string]float64{"auto": 1.70505*0.2 - 0.62179*0.5 - 0.08326*0.1, "linear-ap1": 1.70505*0.2 - 0.62179*0.5 - 0.08326*0.1, "linear": 0.2} {
		// A convex grey body in even light of radiance 1 sends back its albedo.
		r := trace(t, "picture: {width: 8, height: 8, samples: 32}\ncamera: {kind: orthographic, width: 4, orbit: {distance: 100}}\nlights: [{name: sky, kind: constant, radiance: 1}]\n"+
			"objects: [{name: float, shape: sphere, radius: 15, transform: {translate: [0, 0, 8]}, material: {colour: {file: "+file+", space: "+space+"}}}]")
		mean := 0.0
		pic := r.Film.Develop()
		for _, m := range pic.Mean {
			mean += m[0] / float64(len(pic.Mean))
		}
		require.InDelta(t, want, mean, 0.01, space)
	}
}
