package render

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/render/film"
	"catchlight/render/pathtrace"
	"catchlight/scene"
)

// tracer returns a function that traces the next sample of a scene, all through its pixels, and the film that it traces to.
func tracer(t testing.TB, p *Prepared, layers ...film.Layer) (func(), *film.Film) {
	t.Helper()
	w, h := p.Description.Picture.Width, p.Description.Picture.Height
	f, err := film.New(film.Config{Width: w, Height: h, SPP: 1 << 16, Layers: layers})
	require.NoError(t, err)
	tr, s := pathtrace.New(p.Scene, 1), f.Sample()
	i := 0
	return func() {
		pixel := i * 37 % (w * h)
		replicate, index := f.Place(i / (w * h) % (1 << 16))
		s.Begin(pixel, replicate)
		tr.Sample(uint64(pixel), replicate, index, float64(pixel%w)+0.5, float64(pixel/w)+0.5, &s)
		s.End()
		i++
	}, f
}

// A sample allocates nothing, whatever is in the scene.
func TestSamplesDoNotAllocate(t *testing.T) {
	for name, yaml := range map[string]string{
		"eye":             marshEye,
		"eye, exact exit": marshEye + "advanced: {exit: exact}\n",
		"ball": `
picture: {width: 16, height: 16}
camera: {kind: orthographic, width: 26, target: [0, 0, 0], orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}, {name: lamp, kind: disc, orbit: {distance: 300}, radiance: [1, 1, 1]}]
objects:
  - {name: glass, shape: sphere, material: {kind: dielectric, roughness: 0.3, inside: {sigma_a: [0.1, 0.1, 0.1], sigma_s: [1, 2, 3], g: 0.5}}}
  - {name: plate, shape: disc, radius: 30, transform: {translate: [0, 0, -12]}, material: {kind: conductor, roughness: 0.4}}
  - {name: lid, shape: box, size: [4, 4, 4], transform: {translate: [3, 3, 10]}, material: {kind: tissue, roughness: 0.3}}
`,
	} {
		next, _ := tracer(t, prepare(t, yaml))
		for range 200 {
			next()
		}
		assert.Zero(t, testing.AllocsPerRun(2000, next), name)
	}
}

// BenchmarkSample is one sample of a pixel of the built eye: all the paths that belong to it.
func BenchmarkSample(b *testing.B) {
	next, _ := tracer(b, prepare(b, marshEye))
	for b.Loop() {
		next()
	}
}

// BenchmarkFrame is a picture of 64 x 64 pixels with 4 samples each.
func BenchmarkFrame(b *testing.B) {
	p := prepare(b, marshEye, "picture.width=64", "picture.height=64", "picture.samples=4")
	for b.Loop() {
		if _, err := p.Render(context.Background(), Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(64*64*4*float64(b.N)/b.Elapsed().Seconds(), "samples/s")
}

// BenchmarkProfile renders what the program's own profile is made from: the bare and the lidded ferry keeper and the heron.
func BenchmarkProfile(b *testing.B) {
	var all []*Prepared
	for _, name := range []string{"ferry_keeper", "ferry_keeper_lidded", "heron"} {
		d, err := scene.Load("../testdata/baseline/"+name+".yaml", "picture.width=96", "picture.height=96", "picture.samples=64", "picture.denoise=false")
		require.NoError(b, err)
		p, err := Prepare(context.Background(), d, Options{})
		require.NoError(b, err)
		all = append(all, p)
	}
	for b.Loop() {
		for _, p := range all {
			_, err := p.Render(context.Background(), Options{Workers: 1})
			require.NoError(b, err)
		}
	}
}
