package scene

import (
	"fmt"
	"strings"
	"testing"

	"catchlight/scene/eye"
	"catchlight/scene/lids"

	"github.com/stretchr/testify/require"
)

const oneEye = head + "objects: [{name: e, shape: eye, lids: {}}]"

// limitsOf returns the key's interval for a built eye.
func limitsOf(t *testing.T, path string) (interval, *field) {
	t.Helper()
	b := schema().field("objects").block
	var f *field
	for _, k := range strings.Split(path, ".") {
		f = b.field(k)
		require.NotNil(t, f, path)
		b = f.block
	}
	if f.built.set {
		return f.built, f
	}
	return f.limits, f
}

// The ranges that the reference prints are those that are accepted: a value at either end of a key's range is never
// called out of range, by the loader or by what builds the eye, and one beyond it always is.
func TestRangesAreThoseAccepted(t *testing.T) {
	n := 0
	for _, keys := range []map[string]string{eyeKeys, lidKeys} {
		for _, key := range keys {
			r, f := limitsOf(t, key)
			if !r.set || key == "pair" || key == "lids.scale" {
				continue
			}
			n++
			show := func(x float64) string {
				switch f.kind {
				case pair:
					return fmt.Sprintf("objects.e.%s=[%g, 0]", key, x)
				case channels:
					return fmt.Sprintf("objects.e.%s=[%g, 0.5, 0.5]", key, x)
				}
				return fmt.Sprintf("objects.e.%s=%g", key, x)
			}
			wide := []string{}
			if strings.HasSuffix(key, "wobble") {
				wide = append(wide, "objects.e.cornea.wobble_size=10")
			}
			for _, x := range []float64{r.low, r.high} {
				if _, err := Parse("scene.yaml", []byte(oneEye), append(wide, show(x))...); err != nil {
					for _, line := range strings.Split(err.Error(), "\n") {
						require.False(t, strings.Contains(line, key+":") && strings.Contains(line, "is outside"), "%s at %g: %s", key, x, line)
					}
				}
			}
			step := max(1e-3*(r.high-r.low), 1e-4)
			if f.kind == whole {
				step = 1
			}
			for _, x := range []float64{r.low - step, r.high + step} {
				_, err := Parse("scene.yaml", []byte(oneEye), append(wide, show(x))...)
				require.ErrorContains(t, err, "is outside ", "%s at %g", key, x)
				require.ErrorContains(t, err, "objects.e."+key, "%s at %g", key, x)
			}
		}
	}
	require.Greater(t, n, 30)
}

// The builders' defaults are the scene's: a number has one home.
func TestBuildersDefaultsAreTheScenes(t *testing.T) {
	d, err := Parse("scene.yaml", []byte(oneEye))
	require.NoError(t, err)
	got, err := d.Objects[0].Eye.Params()
	require.NoError(t, err)
	want := eye.Defaults()
	want.MeshDetail = got.MeshDetail // follows from globe.facet_error
	require.Equal(t, want, got)
	require.Equal(t, lids.Defaults(), d.Objects[0].Lids.Params(d.Objects[0].Eye))
}

// What goes together badly is told when the scene is loaded, in the keys' own words, with line and column.
func TestBuiltEyeIsChecked(t *testing.T) {
	for set, want := range map[string]string{
		"limbus: {width: 9}":                          "scene.yaml:4:12: e.limbus.width: 9 is outside [0.4, 2.5]",
		"iris: {relief: 0.8}":                         "relief: 0.8 is outside [0, 0.3] mm",
		"iris: {pupil: 10}":                           "e.iris.pupil: 10 is outside [1.5, 8] mm",
		"cornea: {wobble: 0.1}":                       "e.cornea.wobble: 0.1 is outside [0, 0.04]",
		"lids: {height: 16}":                          "e.lids.height: a height of 16 and a cover of 1.5 mm put the margins at",
		"globe: {radius: 5}":                          "e.globe.radius: a limbus that ends 6.3 mm from the axis does not fit on a globe of radius 5 mm",
		"iris: {pupil: 8}\n    limbus: {radius: 4.8}": "e.iris.pupil: the pupil reaches",
		"cornea: {radius: 15}":                        "e.cornea.radius: a cornea of radius 15 mm is flatter than the globe",
		"iris: {depth: 2}":                            "e.iris.depth: 2 mm leaves only",
		"cornea: {asphericity: 0.2, radius: 5}":       "e.cornea.radius: a cornea of radius 5 mm and asphericity 0.2 does not reach",
		"iris: {pupil_offset: [0.7, 0]}":              "0.7 is outside [-0.6, 0.6] mm",
	} {
		_, err := Parse("scene.yaml", []byte(head+"objects:\n  - name: e\n    shape: eye\n    "+set))
		require.ErrorContains(t, err, strings.TrimPrefix(want, "scene.yaml:4:12: "), set)
		require.ErrorContains(t, err, "scene.yaml:", set)
	}
}

// On an eye from a file a key that only the built eye heeds is an error, and the pupil has one key for every eye.
func TestKeysThatCannotActAreErrors(t *testing.T) {
	const file = head + "objects: [{name: e, shape: eye, asset: {file: ../testdata/eye/ict_right_eye.glb, outer: a, inner: b}%s}]"
	for set, want := range map[string]string{
		", cornea: {wobble: 0.01}":      "objects.e.cornea.wobble: acts only on an eye that is built here; this one comes from ict_right_eye.glb",
		", iris: {sector: {angle: 3}}":  "objects.e.iris.sector: acts only on an eye that is built here",
		", seed: 4":                     "objects.e.seed: acts only on an eye that is built here, or that borrows from it (asset.borrow)",
		", globe: {facet_error: 0.001}": "objects.e.globe.facet_error: acts only",
		", sclera: {veins: 2}":          "objects.e.sclera.veins: acts only on an eye that is built here, or that borrows",
		", iris: {pupil: 4}":            "",
		", cornea: {index: 1.34}":       "",
		", sclera: {tint: 0.9}":         "",
	} {
		d, err := Parse("scene.yaml", []byte(fmt.Sprintf(file, set)))
		if want == "" {
			require.NoError(t, err, set)
			require.Equal(t, map[bool]float64{true: 4, false: 0}[strings.Contains(set, "pupil")], d.Objects[0].Eye.Iris.Pupil)
			continue
		}
		require.ErrorContains(t, err, want, set)
	}
	_, err := Parse("scene.yaml", []byte(strings.Replace(fmt.Sprintf(file, ", sclera: {veins: 2}, seed: 3"), "inner: b", "inner: b, borrow: true", 1)))
	require.NoError(t, err)
	_, err = Parse("scene.yaml", []byte(strings.Replace(fmt.Sprintf(file, ""), "inner: b", "inner: b, relief: 0.1", 1)))
	require.ErrorContains(t, err, "objects.e.asset.relief: is the built-in eye's: set borrow")
	_, err = Parse("scene.yaml", []byte(strings.Replace(fmt.Sprintf(file, ""), "inner: b", "inner: b, pupil: 3", 1)))
	require.ErrorContains(t, err, "objects.e.asset.pupil: is now objects.e.iris.pupil")
}

// An asset without its file is a mistake that is told, also beside keys that act on built eyes alone.
func TestAssetWithoutFile(t *testing.T) {
	_, err := Parse("heron.yaml", []byte("lights: [{name: sky, kind: constant, radiance: 1}]\nobjects: [{name: e, shape: eye, seed: 4}]"), "objects.e.asset.factor=10")
	require.ErrorContains(t, err, "objects.e.asset.file: missing, wants a file name")
	require.ErrorContains(t, err, "objects.e.seed: acts only on an eye that is built here")
}
