package prepare

import (
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// What a file's material says of coverage becomes a mask where some of it is less than all: skin whose material blends but is opaque
// everywhere stays a closed body.
func TestCoverageOfAFile(t *testing.T) {
	q := &mesh.Mesh{UV: make([]geom.UV, 3)}
	opaque, half := texture.NewImage(2, 1, 1, []float32{1, 1}), texture.NewImage(2, 1, 1, []float32{1, 0.5})
	for _, c := range []struct {
		m     asset.Material
		mask  bool
		blend bool
	}{
		{asset.Material{AlphaMode: asset.Blended, Alpha: 1, AlphaMap: opaque}, false, false},
		{asset.Material{AlphaMode: asset.Blended, Alpha: 1, AlphaMap: half}, true, true},
		{asset.Material{AlphaMode: asset.Blended, Alpha: 0.4}, true, true},
		{asset.Material{AlphaMode: asset.Masked, Alpha: 1, Cutoff: 0.7, AlphaMap: half}, true, false},
		{asset.Material{AlphaMode: asset.Masked, Alpha: 1, Cutoff: 0.7}, false, false},
	} {
		got := alphaOf(&c.m, q)
		require.Equal(t, c.mask, got != nil)
		if got != nil {
			require.Equal(t, c.blend, got.Blend)
			require.InDelta(t, c.m.Cutoff, got.Threshold, 0)
		}
	}
}
