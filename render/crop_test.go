package render

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
)

// A window of half the picture on a film of half its size sends the very rays of those pixels, through the same lens.
func TestCropSendsTheSameRays(t *testing.T) {
	for _, camera := range []string{
		"{target: [1, 2, 3], orbit: {azimuth: 20, elevation: 10, distance: 500}, focal_length: 800, f_number: 8, shift: [0.1, -0.2]}",
		"{target: [1, 2, 3], orbit: {azimuth: 20, elevation: 10, distance: 500}, fov: 3, f_number: 8}",
		"{kind: orthographic, target: [1, 2, 3], orbit: {azimuth: 20}, width: 30, shift: [0.1, -0.2]}",
	} {
		p := prepareText(t, "picture: {width: 64, height: 48}\ncamera: "+camera+`
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: ball, shape: sphere}]
`)
		d, err := Crop(p.Description, Window{0.25, 0.5, 0.75, 1}, 32)
		require.NoError(t, err)
		require.Equal(t, []int{32, 24}, []int{d.Picture.Width, d.Picture.Height})
		q, err := Prepare(context.Background(), d, Options{})
		require.NoError(t, err)
		for _, px := range [][2]float64{{0, 0}, {31.5, 3}, {10.25, 24}} {
			o, v, w := p.Scene.Camera.Ray(px[0]+16, px[1]+24, 0.3, 0.8)
			o2, v2, w2 := q.Scene.Camera.Ray(px[0], px[1], 0.3, 0.8)
			require.InDelta(t, 0, o.Sub(o2).Len(), 1e-9, camera)
			require.InDelta(t, 0, v.Sub(v2).Len(), 1e-12, camera)
			require.InDelta(t, w, w2, 1e-9, camera)
		}
	}
}

// The window about the iris holds the limbus and is centred on it.
func TestIrisWindow(t *testing.T) {
	p := prepareText(t, `
picture: {width: 100, height: 100}
camera: {kind: orthographic, width: 40, target: [0, 0, 0], orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, transform: {translate: [5, 0, 0]}, map_size: 64}]
`)
	w, err := p.IrisWindow()
	require.NoError(t, err)
	require.InDelta(t, 0.5+5.0/40, (w.X0+w.X1)/2, 1e-3)
	require.InDelta(t, 0.5, (w.Y0+w.Y1)/2, 1e-3)
	require.InDelta(t, 1.2*2*5.85/40, w.X1-w.X0, 0.002)
}
