package scene

import (
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// The marsh goat's minimal scene, which most tests vary.
const goat = `about: the marsh goat at dusk
picture: {width: 64, height: 48, samples: 4}
camera:
  orbit: &side {azimuth: 10, distance: 300}
lights:
  - name: key
    kind: rectangle
    radiance: [1, 2, 3]
    orbit:
      <<: *side
      distance: 500
    panes: [2, 3]
    bar: 10
  - {name: sky, kind: constant, radiance: 0.5}
objects:
  - name: left
    shape: eye
    iris: {colour: 0.3, pattern: amber}
  - name: card
    shape: rectangle
    transform: {translate: [0, -20, 0]}
`

func TestParse(t *testing.T) {
	d, err := Parse("goat.yaml", []byte(goat), "lights.key.ev=2", "objects.left.iris.pupil=2.5", "objects.1.transform.translate.2=-3")
	require.NoError(t, err)
	require.Equal(t, Picture{Width: 64, Height: 48, Samples: 4, Seed: 1, Filter: "gaussian", FilterWidth: 3, Sharing: "splatting", Primaries: "rec709"}, d.Picture)
	require.Equal(t, &Orbit{Azimuth: 10, Distance: 300}, d.Camera.Orbit)
	require.Equal(t, geom.Vec{Z: 8}, d.Camera.Target)
	require.Nil(t, d.Camera.Position)
	require.Len(t, d.Lights, 2)
	key := d.Lights[0]
	require.Equal(t, &colour.RGB{1, 2, 3}, key.Radiance)
	require.Equal(t, &Orbit{Azimuth: 10, Distance: 500}, key.Orbit)
	require.Equal(t, [2]int{2, 3}, key.Panes)
	require.Equal(t, 2.0, key.EV)
	require.True(t, key.On)
	require.Equal(t, &colour.RGB{0.5, 0.5, 0.5}, d.Lights[1].Radiance)
	eye := d.Objects[0].Eye
	require.Equal(t, 2.5, eye.Iris.Pupil)
	require.Equal(t, MapSpec{Value: colour.Grey(0.3), Space: "auto", Tiling: "repeat", Gain: 1, Shell: "inner", Painted: "bare", Given: true}, eye.Iris.Colour)
	require.Nil(t, eye.Iris.Normal)
	require.Equal(t, colour.RGB{3.42, 2.35, 1.77}, d.Objects[1].Material.K)
	require.Equal(t, geom.Vec{Y: -20, Z: -3}, d.Objects[1].Transform.Translate)
	require.Equal(t, colour.Grey(0.5), d.Objects[1].Material.Colour.Value)
	require.False(t, d.Objects[1].Material.Colour.Given)
}

// A file that is no scene is called what it is, with what to do about it.
func TestNoScene(t *testing.T) {
	for file, want := range map[string]string{
		"eye.glb":   "eye.glb: is a file of meshes, not a scene: catchlight adopt eye.glb",
		"marsh.HDR": "marsh.HDR: is a picture, not a scene: catchlight render SCENE --lights marsh.HDR",
		"iris.png":  "iris.png: is a picture, not a scene: name it in a scene as the file of a map",
	} {
		_, err := Load(file)
		require.ErrorContains(t, err, want)
	}
}
