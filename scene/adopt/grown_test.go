package adopt

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/builtin"
	"catchlight/scene/grown"
	"catchlight/scene/imageio"
)

// The zero level and the height in mm that a height map's own file states are taken, and nothing about them is unsure.
func TestStatedHeight(t *testing.T) {
	dir := t.TempDir()
	pix := make([]uint16, 32*32)
	for i := range pix {
		pix[i] = uint16(20000 + 37*i)
	}
	require.NoError(t, imageio.WritePNG16(filepath.Join(dir, "iris_height.png"), 32, 32, 1, pix, map[string]string{grown.ZeroText: "0.25", grown.ScaleText: "0.8"}))
	n, err := LoadNames("")
	require.NoError(t, err)
	var said []Finding
	maps, err := n.assign(dir, "", nil, nil, func(f Finding) { said = append(said, f) })
	require.NoError(t, err)
	require.Len(t, maps, 1)
	require.Equal(t, 0.25, maps[0].Mid)
	require.Equal(t, 0.8, heightScale("iris", maps[0]))
	require.Equal(t, Sure, said[0].Grade, said[0].Reason)
}

// A report counts only for the very file that it speaks of, and a broken one is left out with a reason.
func TestGrownReport(t *testing.T) {
	dir := t.TempDir()
	asset := filepath.Join(dir, "eye.glb")
	require.NoError(t, os.WriteFile(asset, []byte("reed"), 0o666))
	sum, err := builtin.Hash(asset)
	require.NoError(t, err)
	good := `{"frame":{"side":"left"},"globe_radius_mm":12,"limbus_radius_mm":6,"limbus_width_mm":1,"map_size_px":512,"meshes":[{"file":"eye.glb","sha256":"` + sum + `"}]}`
	for _, q := range []struct{ text, note string }{
		{good, ""}, {strings.ReplaceAll(good, sum, "0"), "changed since it was grown"}, {strings.ReplaceAll(good, "eye.glb", "heron.glb"), "other shells"},
		{"{", "left out"}, {strings.Replace(good, "12", "1e9", 1), "globe_radius_mm 1e+09 must be 2 to 60"}, {strings.Replace(good, "left", "up", 1), "must be left or right"},
		{strings.Replace(good, `"meshes"`, `"eye_keys":{"cornea.index":"1\n2"},"meshes"`, 1), "line break"},
		{strings.Replace(good, `"meshes"`, `"maps":[{"file":"../../x.png"}],"meshes"`, 1), "beside the report"},
	} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, grown.Name), []byte(q.text), 0o666))
		in := Input{Asset: asset}
		require.NoError(t, in.grownReport())
		require.Equal(t, q.note == "", in.Grown != nil, q.text)
		if q.note != "" {
			require.Len(t, in.Notes, 1)
			require.Contains(t, in.Notes[0], q.note)
		}
	}
}
