package scene

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// Every shipped scene, written as a description is and read again, is the same description.
func TestEncodeIsReadBack(t *testing.T) {
	var files []string
	for _, pattern := range []string{"../scenes/*.yaml", "../scenes/ranges/*.yaml", "../testdata/baseline/*.yaml"} {
		found, err := filepath.Glob(pattern)
		require.NoError(t, err)
		files = append(files, found...)
	}
	require.Greater(t, len(files), 20)
	for _, f := range files {
		f, err := filepath.Abs(f)
		require.NoError(t, err)
		d, err := Load(f)
		require.NoError(t, err)
		require.NoError(t, d.Check(), f)
		var s strings.Builder
		require.NoError(t, d.encode(&s))
		again, err := Parse(f, []byte(s.String()))
		require.NoError(t, err, f)
		text, err := d.Text()
		require.NoError(t, err)
		lines, err := Parse(f, []byte(text))
		require.NoError(t, err, text)
		d.source, again.source, lines.source = nil, nil, nil
		d.Raster.Budget, again.Raster.Budget = "", "" // its keys stand in the scene now
		lines.Raster.Budget = ""
		require.Equal(t, d, again, f)
		require.Equal(t, d, lines, f)
	}
}

// A description made in code is sound, and a wrong value in it is named by key, value and range.
func TestCheckInCode(t *testing.T) {
	require.NoError(t, Default().Check())
	for want, change := range map[string]func(d *Description){
		"picture.width: 0 is outside [1, 16384] px":                           func(d *Description) { d.Picture.Width = 0 },
		"objects.eye.iris.pupil: NaN is not finite":                           func(d *Description) { d.Objects[0].Eye.Iris.Pupil = math.NaN() },
		"objects.eye.iris.pupil: 9 is outside [1.5, 8] mm":                    func(d *Description) { d.Objects[0].Eye.Iris.Pupil = 9 },
		"view.tone_mapping: sepia is none of reinhard, neutral, filmic, none": func(d *Description) { d.View.ToneMapping = "sepia" },
		"lights.lamp.position: missing":                                       func(d *Description) { d.Lights = append(d.Lights, DefaultLight("lamp", "sphere")) },
		"objects.a b.name":                                                    func(d *Description) { d.Objects = append(d.Objects, DefaultObject("a b", "box")) },
		"camera.focal_length: only beside position or orbit":                  func(d *Description) { d.Camera.Orbit = nil },
		"lights: nothing shines":                                              func(d *Description) { d.Lights = nil },
		"give either position or orbit, not both":                             func(d *Description) { d.Camera.Position = &geom.Vec{Z: 100} },
	} {
		d := Default()
		change(d)
		err := d.Check()
		require.Error(t, err, want)
		if !strings.Contains(want, "a b") && !strings.Contains(want, "lamp") {
			require.Contains(t, err.Error(), want)
		}
	}
}

// A description made in Go code is checked like one from a file.
func ExampleDefault() {
	d := Default()
	d.Objects[0].Eye.Iris.Pattern = "green"
	d.Lights = append(d.Lights, DefaultLight("lamp", "disc"))
	fmt.Println(d.Check())
	// Output:
	// scene in code: lights.lamp: give radiance or power
	// scene in code: lights.lamp: give position or orbit
}

// A material whose colour is a picture has that alone: the key's default is no second value beside it.
func TestMapOfAFileIsSound(t *testing.T) {
	file := filepath.Join(t.TempDir(), "map.png")
	require.NoError(t, os.WriteFile(file, nil, 0o666))
	d, err := Parse("scene.yaml", []byte("camera: {orbit: {azimuth: 0}}\nlights: [{name: sky, kind: constant, radiance: 1}]\nobjects: [{name: ball, shape: sphere, material: {colour: {file: "+file+"}}}]\n"))
	require.NoError(t, err)
	require.NoError(t, d.Check())
	require.Zero(t, d.Objects[0].Material.Colour.Value)
}
