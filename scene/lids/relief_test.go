package lids

import (
	"math"
	"testing"

	"catchlight/scene/geom"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// flatSheet is a flat sheet of skin as relief sees it, 20 mm of the lower lid by 20 mm of the face, with vertices an eighth of a millimetre apart.
func flatSheet() (g *grain, spots []spot) {
	const n, step = 160, 0.125
	spots = make([]spot, n*n)
	for k := range spots {
		spots[k] = spot{t: 0.5, d: float64(k/n) * step, skin: 1}
	}
	return newGrain(n, n, 5, func(i, j int) (geom.Vec, *spot) {
		return geom.Vec{X: float64(i) * step, Y: float64(j) * step}, &spots[j*n+i]
	}), spots
}

// Lines and pores have the slopes that the shine of skin leaves room for, a roughness of 0.2 to 0.4 by themselves (Weyrich et al., ACM TOG
// 25 (2006), from memory), and do not run one way: of the power of the slopes more than 6 mm from the rim, the lines within 15 degrees of
// the rim's direction have at most twice their share. Plates lie 0.2 to 0.6 mm apart.
func TestNetOfLines(t *testing.T) {
	g, _ := flatSheet()
	height := make([]float32, len(g.p))
	n := g.newNet()
	g.lines(n, height, 1)
	var power [12]float64 // of lines, by the angle to the rim
	far, count := 0.0, 0
	for y := 60; y < g.h-60; y++ {
		if g.spotAt(0, y).d < 6 {
			continue
		}
		for x := 60; x < g.w-60; x++ {
			v := g.gradient(height, x, y)
			far, count = far+v.Len2(), count+1
			a := math.Atan2(v.X, -v.Y) / math.Pi * 12 // of the line, which runs square to the slope
			power[(int(math.Floor(a+0.5))+24)%12] += v.Len2()
		}
	}
	rms := math.Sqrt(far / float64(count))
	assert.True(t, rms > 0.18 && rms < 0.42, "slope of the cheek %.3f", rms)
	along := (power[0] + power[1]/2 + power[11]/2) / far * 6
	assert.Less(t, along, 2.0, "power along the rim over the mean")
	t.Logf("slope %.3f; power along the rim %.2f of the mean", rms, along)
	area := 20.0 * 20.0
	apart := math.Sqrt(area / float64(len(n.plates)))
	assert.True(t, apart > 0.2 && apart < 0.6, "plates %.2f mm apart", apart)
}

// A wrinkle ends: none runs farther than a third of the way round, and none stands deeper than 0.25 mm.
func TestWrinklesEnd(t *testing.T) {
	g, spots := flatSheet()
	for k := range spots {
		spots[k].t = float64(k%g.vw) / float64(g.vw)
	}
	height := make([]float32, len(g.p))
	owner := g.wrinkles(height, 1)
	var seen [200][]bool
	for i, o := range owner {
		if o == 0 {
			continue
		}
		if seen[o%200] == nil {
			seen[o%200] = make([]bool, g.vw)
		}
		seen[o%200][i%g.w/acrossTexels] = true
	}
	some := 0
	for _, s := range seen {
		wide := 0
		for _, b := range s {
			if b {
				wide++
			}
		}
		if wide > 0 {
			some++
		}
		assert.Less(t, wide, g.vw*3/4)
	}
	assert.Greater(t, some, 20)
	deepest := float32(0)
	for _, v := range height {
		deepest = min(deepest, v)
	}
	assert.True(t, deepest < -0.03 && deepest > -0.25, "deepest %.3f mm", deepest)
}

// Mesh and map are one relief: on a flat sheet the slope of the raised vertices, taken between them as normals are, and the map's add up to
// that of the whole height.
func TestMeshAndMapAreOneRelief(t *testing.T) {
	g, _ := flatSheet()
	height := make([]float32, len(g.p))
	for i := range height {
		p := g.place(i)
		height[i] = float32(0.02*math.Sin(9*p.X)*math.Cos(7*p.Y) + 0.004*math.Sin(20*p.X))
	}
	low := make([]float64, g.vw*g.vh)
	for k := range low {
		low[k] = g.block(height, k%g.vw, k/g.vw)
	}
	var out pixels
	g.slopes(height, low, &out)
	out.w, out.vw, out.sheen = g.w, g.vw, make([]float32, 3*len(low))
	r := out.images()
	side := func(i, j int) (sx, sy float64) { // of the mesh's normals at a vertex, along both
		return (low[j*g.vw+i+1] - low[j*g.vw+i-1]) / 0.25, (low[(j+1)*g.vw+i] - low[(j-1)*g.vw+i]) / 0.25
	}
	for _, at := range [][2]int{{40, 50}, {77, 31}, {100, 111}} {
		i, j := at[0], at[1]
		for k := range 3 {
			// A texel off the vertex: the mesh's slope there lies between those of four.
			x, y := i*acrossTexels+2+k/2, j*downTexels+3+k
			fx, fy := (float64(x)+0.5)/acrossTexels-0.5-float64(i), (float64(y)+0.5)/downTexels-0.5-float64(j)
			var sx, sy float64
			for c := range 4 {
				a, b := side(i+c%2, j+c/2)
				w := (1 - fx + float64(c%2)*(2*fx-1)) * (1 - fy + float64(c/2)*(2*fy-1))
				sx, sy = sx+w*a, sy+w*b
			}
			p := g.place(y*g.w + x)
			wantX := 0.02*9*math.Cos(9*p.X)*math.Cos(7*p.Y) + 0.08*math.Cos(20*p.X)
			wantY := -0.02 * 7 * math.Sin(9*p.X) * math.Sin(7*p.Y)
			require.InDelta(t, wantX, sx+r.Tilt.At(x, y, 0), 0.012)
			require.InDelta(t, wantY, sy+r.Tilt.At(x, y, 1), 0.006)
			tx, ty := r.Tilt.At(x, y, 0), r.Tilt.At(x, y, 1)
			require.InDelta(t, tx*tx+ty*ty, r.Square.At(x, y, 0), 1e-3)
		}
	}
}
