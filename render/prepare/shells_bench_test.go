package prepare

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/eye"
	"catchlight/scene/gltfio"
	"catchlight/scene/mesh"
)

// BenchmarkShells takes two shells from a file, from reading to hierarchies, and makes their tangents: the licensed eye after
// four levels of subdivision, and a built eye as grow writes it at its usual silhouette.
func BenchmarkShells(b *testing.B) {
	grown, err := eye.Build(eye.Defaults())
	require.NoError(b, err)
	file := filepath.Join(b.TempDir(), "grown.glb")
	require.NoError(b, gltfio.Write(file, []gltfio.Part{{Name: "outer", Mesh: grown.Outer}, {Name: "inner", Mesh: grown.Inner}}))
	for _, c := range []struct {
		name, file, outer, inner string
		levels                   int
	}{{"subdivided", soundEye, outerNode, innerNode, 4}, {"grown", file, "outer", "inner", 0}} {
		b.Run(c.name, func(b *testing.B) {
			vertices := 0
			start := cpuSeconds()
			for b.Loop() {
				d := assetEye(c.file, c.outer, c.inner)
				d.Asset.Subdivide = &c.levels
				s, err := (&preparer{}).shells(d, &making{})
				require.NoError(b, err)
				mesh.MakeTangents(s.outer)
				mesh.MakeTangents(s.inner)
				vertices = len(s.outer.P) + len(s.inner.P)
			}
			b.ReportMetric((cpuSeconds()-start)/float64(b.N), "cpu-s/op")
			b.ReportMetric(float64(vertices), "vertices")
		})
	}
}
