package scene

import (
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/eye"
)

// paint is the list of a scene whose eye has these keys besides.
func paint(t *testing.T, keys string, sets ...string) []eye.Layer {
	d, err := Parse("marsh.yaml", []byte("camera: {orbit: {azimuth: 0}}\nlights: [{name: sky, kind: constant, radiance: 1}]\nobjects: [{name: e, shape: eye"+keys+"}]\n"), sets...)
	require.NoError(t, err)
	require.NoError(t, d.Check())
	return d.Objects[0].Eye.Paint
}

// A block changes entries of the program's list by name and adds others after them; a list is the whole of it; an override
// switches one entry.
func TestPaint(t *testing.T) {
	usual := eye.DefaultPaint()
	require.Equal(t, usual, paint(t, ""))
	require.Empty(t, paint(t, ", paint: []"))

	off := paint(t, "", "objects.e.paint.fat.on=false", "objects.e.paint.rust={kind: freckles, into: pigment, blend: add, count: 3}")
	require.Len(t, off, len(usual)+1)
	for i, l := range usual {
		if l.Name == "fat" {
			l.On = false
		}
		require.Equal(t, l, off[i])
	}
	require.Equal(t, "rust", off[len(usual)].Name)
	require.Equal(t, off, paint(t, ", paint: {fat: {on: false}, rust: {kind: freckles, into: pigment, blend: add, count: 3}}"))

	list := paint(t, ", paint: [{name: patches, kind: fat, colour: [1, 0.9, 0.7]}, {name: blotches, kind: mottle, blend: scale, size: 3, mask: patches, invert: true}]", "objects.e.paint.patches.amount=2")
	require.Len(t, list, 2)
	require.Equal(t, 2.0, list[0].Amount)
	require.Equal(t, "patches", list[1].Mask)
}

// What is wrong in a list is said with its place.
func TestPaintMistakes(t *testing.T) {
	for keys, want := range map[string]string{
		", paint: {fat: {amount: 9}}":                            "marsh.yaml:3:55: objects.e.paint.fat.amount: 9 is outside [-8, 8]",
		", paint: {reed: {amount: 1}}":                           "objects.e.paint.reed.kind: missing",
		", paint: {fat: {name: thick}}":                          "objects.e.paint.fat.name: the key is its name here",
		", paint: {fat: {size: 2}}":                              "objects.e.paint.fat.size: only for kind mottle, halo or limbus, not for fat",
		", paint: {fat: {mask: reed}}":                           "objects.e.paint: there is no entry \"reed\" for a mask",
		", paint: {fat: {mask: ring}}":                           "objects.e.paint: its mask \"ring\" lies on the other part of the eye",
		", paint: {fat: {into: pigment}}":                        "objects.e.paint: pigment is nothing that fat changes",
		", paint: {flush: {mask: \"\"}}":                         "a halo wants a mask",
		", paint: {fat: 3}":                                      "objects.e.paint.fat: 3, wants a block of keys",
		", paint: {1a: {kind: fat}}":                             "1a is no name",
		", paint: [{name: a, kind: fat}, {name: a, kind: thin}]": "a second a in paint",
		", paint: 3": "objects.e.paint: 3, wants a list of blocks",
		", asset: {file: ship.ply, unit: mm, outer: a, inner: b}, paint: []": "objects.e.paint: acts only on an eye that is built here, or that borrows",
	} {
		_, err := Parse("marsh.yaml", []byte("camera: {orbit: {azimuth: 0}}\nlights: [{name: sky, kind: constant, radiance: 1}]\nobjects: [{name: e, shape: eye"+keys+"}]\n"))
		require.ErrorContains(t, err, want, keys)
	}
}

// The entries of the program's own list have the defaults of the keys that they do not set, as a scene's have.
func TestPaintDefaults(t *testing.T) {
	b := schema().field("objects").block.field("paint").block
	for _, l := range eye.DefaultPaint() {
		plain := reflect.New(b.typ).Elem()
		presets(b, plain)
		again := eye.Bare(l.Name, l.Kind)
		plain.FieldByName("Name").SetString(l.Name)
		plain.FieldByName("Kind").SetString(l.Kind)
		require.Equal(t, plain.Interface(), again)
	}
}
