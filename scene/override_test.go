package scene

import (
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

func TestWith(t *testing.T) {
	d, err := Parse("goat.yaml", []byte(goat), "picture.samples=16")
	require.NoError(t, err)
	v, err := d.With("lights.key.ev=1", "objects.left.iris.pupil=2.5", "camera.target=[0, 0, 12]", "lights.1.on=off",
		"objects.card={name: box, shape: box}", "objects.box.size=[1, 2, 3]")
	require.NoError(t, err)
	require.Equal(t, 16, v.Picture.Samples)
	require.Equal(t, 1.0, v.Lights[0].EV)
	require.False(t, v.Lights[1].On)
	require.Equal(t, 2.5, v.Objects[0].Eye.Iris.Pupil)
	require.Equal(t, geom.Vec{Z: 12}, v.Camera.Target)
	require.Equal(t, "box", v.Objects[1].Shape)
	require.Equal(t, geom.Vec{X: 1, Y: 2, Z: 3}, v.Objects[1].Size)

	// The first is as it was, and a variation of the variation keeps what came before; the last word counts.
	require.Zero(t, d.Lights[0].EV)
	require.True(t, d.Lights[1].On)
	require.Len(t, d.source.set, 1)
	w, err := v.With("lights.key.ev=3")
	require.NoError(t, err)
	require.Equal(t, 3.0, w.Lights[0].EV)
	require.Equal(t, 2.5, w.Objects[0].Eye.Iris.Pupil)

	_, err = d.With("lights.key.ev=loud")
	require.EqualError(t, err, "--set lights.key.ev=loud: lights.key.ev: loud is not a number")
	_, err = new(Description).With("picture.samples=1")
	require.EqualError(t, err, "scene: only a description that was read from a file can be varied")
}

// Two anchors' users share what is written once; an override of one must not reach the other.
func TestOverrideOfAnAlias(t *testing.T) {
	d, err := Parse("goat.yaml", []byte(goat), "camera.orbit.azimuth=-30")
	require.NoError(t, err)
	require.Equal(t, -30.0, d.Camera.Orbit.Azimuth)
	require.Equal(t, 10.0, d.Lights[0].Orbit.Azimuth)
}

func TestOverrideTakesOut(t *testing.T) {
	d, err := Parse("goat.yaml", []byte(goat), "camera.orbit=null", "camera.position=[0, 0, 100]", "objects.card=null", "view.background_edge=null", "view.gradient=null")
	require.NoError(t, err)
	require.Nil(t, d.Camera.Orbit)
	require.Equal(t, &geom.Vec{Z: 100}, d.Camera.Position)
	require.Len(t, d.Objects, 1)
}

func TestOverrideMistakes(t *testing.T) {
	for set, want := range map[string]string{
		"picture.samples":     "--set picture.samples: wants KEY=VALUE",
		"=3":                  `--set =3: "" is no path of a key`,
		"picture..samples=3":  "--set picture..samples=3: picture..samples is no path of a key",
		"picture.samples= ":   `--set "picture.samples= ": picture.samples: no value; null takes a key out`,
		"picture.samples.x=3": "--set picture.samples.x=3: picture.samples.x: x can't be set within 4, which is no block of keys",
		"lights.rim.ev=3":     "--set lights.rim.ev=3: lights.rim.ev: no entry rim here; there are key, sky",
		"lights.2.ev=3":       "--set lights.2.ev=3: lights.2.ev: no entry 2 here; there are key, sky",
		"picture.sp=3":        "--set picture.sp=3: picture.sp: unknown key; did you mean samples?",
		"picture.samples=[":   "--set picture.samples=[: picture.samples: not valid YAML: sequence end token ']' not found",
		"lights.key.power=2":  "--set lights.key.power=2: lights.key.power: give either radiance or power, not both",
		"lights.sky.name=key": "--set lights.sky.name=key: lights.1.name: a second key in lights, first in line 6",
		"objects.card=3":      "--set objects.card=3: objects.1: 3, wants a block of keys",
	} {
		d, err := Parse("goat.yaml", []byte(goat), set)
		require.Nil(t, d, set)
		require.EqualError(t, err, want)
	}
}
