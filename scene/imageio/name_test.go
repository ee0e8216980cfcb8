package imageio

import (
	"bytes"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A picture must be what its name says; names that say nothing, and names in capitals, are fine.
func TestNameAndContent(t *testing.T) {
	dir := t.TempDir()
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, image.NewRGBA(image.Rect(0, 0, 4, 4)), nil))
	for name, want := range map[string]string{
		"reed.png":  "the content is JPEG, the name says PNG; give the file the ending of what it is, or save it anew",
		"reed.TIFF": "the content is JPEG, the name says TIFF",
		"reed.exr":  "the content is JPEG, the name says OpenEXR",
		"reed.jpg":  "", "reed.JPEG": "", "reed": "", "reed.1001": "",
	} {
		file := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(file, b.Bytes(), 0o666))
		_, err := Read(file)
		_, _, err2 := ReadTexture(file, As{})
		if want == "" {
			require.NoError(t, err)
			require.NoError(t, err2)
			continue
		}
		for _, e := range []error{err, err2} {
			require.ErrorContains(t, e, file+": "+want)
			var fe *FormatError
			require.ErrorAs(t, e, &fe)
		}
	}
}

// An OpenEXR file without colours is no picture of colours; its one channel, or one that is named, may be a map.
func TestNoColours(t *testing.T) {
	dir := t.TempDir()
	save := func(names ...string) string {
		var ch []EXRChannel
		for _, n := range names {
			ch = append(ch, EXRChannel{Name: n, Pix: []float32{1, 2}})
		}
		file := filepath.Join(dir, "marsh.exr")
		require.NoError(t, WriteEXR(file, 2, 1, ch, nil))
		return file
	}
	const want = "there are no colours in it: none of its channels (Z, id) is R, G, B or Y"
	file := save("Z", "id")
	for _, as := range []As{{}, {Colour: true}, {Slopes: true}} {
		_, _, err := ReadTexture(file, as)
		require.ErrorContains(t, err, file)
		require.ErrorContains(t, err, want)
	}
	im, _, err := ReadTexture(file, As{Channel: "Z"})
	require.NoError(t, err)
	_, _, c := im.Size()
	require.Equal(t, 1, c)
	file = save("height")
	_, _, err = ReadTexture(file, As{})
	require.NoError(t, err)
	_, _, err = ReadTexture(file, As{Colour: true})
	require.ErrorContains(t, err, "none of its channels (height)")
	for _, sound := range [][]string{{"R", "G", "B", "Z"}, {"Y"}, {"A", "Y"}, {"R"}} {
		_, _, err = ReadTexture(save(sound...), As{Colour: true})
		require.NoError(t, err)
	}
}
