package prepare

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/frozen"
	"catchlight/scene"
)

// Each entry of the list that paints an eye is a stage: with one changed, the shells and the other entries stay, and the eye is
// the one that is made without a cache.
func TestLayersAreStages(t *testing.T) {
	const text = "camera: {orbit: {azimuth: 0}}\nlights: [{name: sky, kind: constant, radiance: 1}]\nobjects: [{name: e, shape: eye, map_size: 128, globe: {facet_error: 0.012}}]\n"
	d, err := scene.Parse("marsh.yaml", []byte(text))
	require.NoError(t, err)
	c := NewCache()
	see := func(c *Cache, sets ...string) *frozen.Eye {
		v, err := d.With(sets...)
		require.NoError(t, err)
		p, err := Scene(context.Background(), v, Options{Cache: c})
		require.NoError(t, err)
		return &p.Scene.Eyes[0]
	}
	see(c)
	for _, q := range []struct {
		set  string
		made int // the tissue, and the entries whose fields change
	}{
		{"objects.e.paint.fat.on=false", 1},
		{"objects.e.paint.fat.amount=2", 1},
		{"objects.e.paint.fat.seed=2", 2},
		{"objects.e.paint.mottle-small.size=3", 2},
		{"objects.e.paint.deep-vessels.share=0.09", 2},
		{"objects.e.paint.shallow-vessels.trunks=20", 3}, // and the halo about them
		{"objects.e.sclera.veins=0.5", 1},
		{"objects.e.sclera.veins=2", 6}, // more of them are open
	} {
		before := c.Made
		e := see(c, q.set)
		require.Equal(t, q.made, c.Made-before, q.set)
		require.Equal(t, see(nil, q.set).Tissue.Colour, e.Tissue.Colour, q.set)
	}
}
