package render

import (
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/film"
)

// Every replicate of every tile is in one part, and parts of large pictures are about equal: tiles are drawn as by chance.
func TestShardsShareEvenly(t *testing.T) {
	for _, c := range []struct{ tiles, count int }{{1, 3}, {4, 8}, {4, 20}, {600, 9}, {1024, 2}, {65536, 64}} {
		held := make([]int, c.count)
		for tile := range c.tiles {
			for k := range film.Replicates {
				n := 0
				for i := range c.count {
					if (Shard{i + 1, c.count}).has(tile, k, c.tiles) {
						held[i]++
						n++
					}
				}
				require.Equal(t, 1, n)
			}
		}
		if c.tiles >= 64*c.count {
			for _, n := range held {
				require.InEpsilon(t, float64(c.tiles*film.Replicates)/float64(c.count), n, 0.25)
			}
		}
	}
	require.True(t, Shard{}.has(5, 3, 9))
}
