package prepare_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"catchlight/render/camera"
	"catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/geom"

	"github.com/stretchr/testify/require"
)

// Without position and orbit the camera stands in front, a metre away or farther, and what there is fills three quarters of the picture's
// smaller side, projected vertex by vertex: an eye, two eyes, a plain object large or small, in wide and tall pictures.
func TestCameraFramesWhatThereIs(t *testing.T) {
	const light = "lights: [{name: sky, kind: constant, radiance: 1}]\n"
	o := prepare.Options{Cache: prepare.NewCache()}
	for name, c := range map[string]struct {
		yaml     string
		distance float64
	}{
		"eye":        {"picture: {width: 90, height: 60}\nobjects: [{name: a, shape: eye, map_size: 64, transform: {translate: [30, -7, 5]}}]", 1000},
		"flat":       {"picture: {width: 60, height: 90}\ncamera: {kind: orthographic}\nobjects: [{name: a, shape: eye, map_size: 64}]", 1000},
		"two eyes":   {"picture: {width: 90, height: 60}\nobjects: [{name: a, shape: eye, map_size: 64, pair: 63}, {name: far, shape: box, size: [900, 1, 1]}]", 1000},
		"large ball": {"picture: {width: 64, height: 64}\nobjects: [{name: a, shape: sphere, radius: 400}]", 3200},
	} {
		d, err := scene.Parse("frame.yaml", []byte(light+c.yaml))
		require.NoError(t, err, name)
		p, err := prepare.Scene(context.Background(), d, o)
		require.NoError(t, err, name)
		require.Len(t, p.Warnings, 1, name)
		require.Contains(t, p.Warnings[0], "the scene places no camera: it stands at an azimuth of 14 and an elevation of 2 degrees", name)
		k := p.Description.Camera
		require.InDelta(t, c.distance, k.Orbit.Distance, 0.01*c.distance, name)
		require.GreaterOrEqual(t, k.Orbit.Distance, 1000.0, name)
		require.Equal(t, scene.Orbit{Azimuth: 14, Elevation: 2, Distance: k.Orbit.Distance}, *k.Orbit)
		lo, hi := geom.Vec{X: math.Inf(1), Y: math.Inf(1)}, geom.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
		for i := range p.Scene.Objects {
			b := &p.Scene.Objects[i]
			if b.Name == "far" {
				continue
			}
			points := []geom.Vec{{X: 400}, {X: -400}, {Y: 400}, {Y: -400}}
			if b.Mesh != nil {
				points = b.Mesh.P
			}
			for _, v := range points {
				x, y, _, ok := p.Scene.Camera.Project(b.ToWorld.Point(v))
				require.True(t, ok)
				lo.X, lo.Y, hi.X, hi.Y = min(lo.X, x), min(lo.Y, y), max(hi.X, x), max(hi.Y, y)
			}
		}
		small := float64(min(d.Picture.Width, d.Picture.Height))
		require.InDelta(t, 0.75*small, max(hi.X-lo.X, hi.Y-lo.Y), 0.02*small, name)
		require.InDelta(t, float64(d.Picture.Width)/2, (lo.X+hi.X)/2, 0.02*small, name)
		require.InDelta(t, float64(d.Picture.Height)/2, (lo.Y+hi.Y)/2, 0.02*small, name)

		// The same camera in words of the scene, for pictures that must not move with what turns in them.
		q, notes, err := prepare.Framed(context.Background(), d, o)
		require.NoError(t, err, name)
		require.Len(t, notes, 1)
		require.InDelta(t, 0, prepare.Camera(q).Position.Sub(camera.Orbit(k.Target, geom.Radians(14), geom.Radians(2), k.Orbit.Distance)).Len(), 1e-3, fmt.Sprint(name))
	}
}
