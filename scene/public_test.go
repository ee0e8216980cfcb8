package scene

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// walkKeys calls do for all keys below k with their paths.
func walkKeys(k *Key, path string, do func(path string, k *Key)) {
	for _, c := range k.Keys {
		at := join(path, c.Key)
		do(at, c)
		walkKeys(c, at, do)
	}
}

// The tree has every key of the reference, with the tags' words, and is JSON.
func TestSchemaIsWhole(t *testing.T) {
	root := Schema()
	found := map[string]*Key{}
	walkKeys(root, "", func(path string, k *Key) {
		found[path] = k
		require.NotEmpty(t, k.Doc, path)
		require.NotEmpty(t, k.Kind, path)
	})
	_, err := json.Marshal(root)
	require.NoError(t, err)
	ev := found["lights.ev"]
	require.Equal(t, "number", ev.Kind)
	require.Equal(t, "EV", ev.Unit)
	require.Equal(t, "[-40, 40]", ev.Limits.Text)
	require.Equal(t, 0.0, ev.Default)
	require.Equal(t, "kind", found["lights"].Selector)
	require.Equal(t, []string{"environment"}, found["lights.file"].Only)
	require.Equal(t, "colour", found["lights.tint"].Kind)
	require.Equal(t, "file", found["lights.file"].Kind)
	require.Equal(t, "switch", found["lights.on"].Kind)
	require.Equal(t, true, found["lights.on"].Default)
	require.Equal(t, "choice", found["view.tone_mapping"].Kind)
	require.Equal(t, []any{0.0, 0.0, 8.0}, found["camera.target"].Default)
	require.True(t, found["camera.orbit.distance"].Limits.LowOpen)
	require.Equal(t, "list", found["objects"].Kind)
	require.NotNil(t, found["objects.iris.pupil"])
	require.Equal(t, "map", found["objects.iris.colour"].Kind)
}

// Every number has a range to drag through: finite, not empty, within its limits and holding its default where that is one number.
func TestDragRanges(t *testing.T) {
	n := 0
	walkKeys(Schema(), "", func(path string, k *Key) {
		if k.Kind != "number" && k.Kind != "whole" && k.Kind != "colour" {
			return
		}
		if l := k.Limits; l != nil && *l == (Limits{Low: l.Low, High: l.High, Text: l.Text}) && l.Low != nil && l.High != nil && *l.Low == *l.High {
			require.Nil(t, k.Drag, path)
			return
		}
		n++
		require.NotNil(t, k.Drag, path)
		d := k.Drag
		require.Less(t, d.Low, d.High, path)
		require.False(t, math.IsInf(d.Low, 0) || math.IsInf(d.High, 0), path)
		require.False(t, d.Log && d.Low <= 0, path)
		if l := k.Limits; l != nil {
			require.False(t, l.Low != nil && d.Low < *l.Low || l.High != nil && d.High > *l.High, "%s: %v of %s", path, d, l.Text)
		}
		// Some defaults lie outside the limits, to say that nothing is given.
		if x, ok := k.Default.(float64); ok && (k.Limits == nil || (k.Limits.Low == nil || x >= *k.Limits.Low) && (k.Limits.High == nil || x <= *k.Limits.High)) {
			require.True(t, x >= d.Low && x <= d.High, "%s: %v is not within %v", path, x, d)
		}
	})
	require.Greater(t, n, 150)
}
