package frozen

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/accel"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// cards returns an object of parallel cards, 20 mm square, at the given heights, with u and v from 0 to 1 over each.
func cards(t testing.TB, heights ...float64) *Object {
	m := &mesh.Mesh{}
	for _, z := range heights {
		b := uint32(len(m.P))
		for _, c := range [][2]float64{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
			m.P = append(m.P, geom.Vec{X: 20*c[0] - 10, Y: 20*c[1] - 10, Z: z})
			m.N = append(m.N, geom.Vec{Z: 1})
			m.UV = append(m.UV, geom.UV{U: c[0], V: c[1]})
		}
		m.Tri = append(m.Tri, [3]uint32{b, b + 1, b + 2}, [3]uint32{b, b + 2, b + 3})
	}
	h, err := accel.Build(m.P, m.Tri, accel.Options{})
	require.NoError(t, err)
	return &Object{Shape: Mesh, Mesh: m, BVH: h, ToWorld: geom.Identity(), ToLocal: geom.Identity(), Scale: 1, Bounds: m.Bounds()}
}

// Three cards that each stop 0.4 of the light let 0.6^3 of the rays through, and stop 0.4, 0.24 and 0.144 of them in turn, whether the
// first hit is asked for or any. Without numbers to draw, the mask is a threshold.
func TestBlendedMask(t *testing.T) {
	b := cards(t, 0, 3, -4)
	b.OpacityMask = &OpacityMask{Map: texture.Constant([3]float64{0.4, 0.4, 0.4}), Threshold: 0.5, Blend: true}
	sc := accel.NewScratch()
	const n = 40000
	ray := geom.Ray{O: geom.Vec{X: 1, Y: 2, Z: 10}, D: geom.Vec{Z: -1}}
	var h Hit
	require.False(t, b.Closest(sc, ray, 0, math.Inf(1), &h))
	sc.Coin = 1
	stopped := map[float64]int{}
	blocked := 0
	for range n {
		if b.Closest(sc, ray, 0, math.Inf(1), &h) {
			stopped[math.Round(h.T)]++
		}
		if b.Blocks(sc, ray, 0, math.Inf(1)) {
			blocked++
		}
	}
	for z, want := range map[float64]float64{7: 0.4, 10: 0.24, 14: 0.144} {
		require.InDelta(t, want, float64(stopped[z])/n, 4.5*math.Sqrt(want*(1-want)/n))
	}
	require.InDelta(t, 1-0.6*0.6*0.6, float64(blocked)/n, 4.5*math.Sqrt(0.216*0.784/n))
	b.OpacityMask.Map = texture.Constant([3]float64{1, 1, 1})
	for range 1000 {
		require.True(t, b.Closest(sc, ray, 0, math.Inf(1), &h) && math.Round(h.T) == 7, "what stops all is met at once")
	}
}

// A mask whose left half is 0 and right half 1, over cards of which three lie in one plane: rays meet the first card on
// the right and none on the left, from either side, and none is lost or stuck between cards of one place.
func TestCutout(t *testing.T) {
	b := cards(t, 0, 1e-7, 0, 0, 3, -4)
	b.OpacityMask = &OpacityMask{Map: texture.FromImage(texture.NewImage(2, 1, 1, []float32{0, 1}), texture.Clamp), Threshold: 0.5}
	r := rand.New(rand.NewPCG(1, 2))
	sc := accel.NewScratch()
	for range 20000 {
		x, y, z := 19*r.Float64()-9.5, 19*r.Float64()-9.5, 10.0
		if math.Abs(x) < 1e-3 {
			continue
		}
		if r.IntN(2) == 0 {
			z = -z
		}
		ray := geom.Ray{O: geom.Vec{X: x, Y: y, Z: z}, D: geom.Vec{Z: -z / 10}}
		var h Hit
		require.Equal(t, x > 0, b.Closest(sc, ray, 0, math.Inf(1), &h))
		require.Equal(t, x > 0, b.Blocks(sc, ray, 0, math.Inf(1)))
		if x > 0 {
			want := 7.0
			if z < 0 {
				want = 6
			}
			require.InDelta(t, want, h.T, 1e-5)
		}
	}
	// Short of the first card there is nothing; without a mask the left side is there too.
	ray := geom.Ray{O: geom.Vec{X: 5, Z: 10}, D: geom.Vec{Z: -1}}
	require.False(t, b.Blocks(sc, ray, 0, 6.9))
	require.True(t, b.Blocks(sc, ray, 0, 7.1))
	b.OpacityMask = nil
	require.True(t, b.Blocks(sc, geom.Ray{O: geom.Vec{X: -5, Z: 10}, D: geom.Vec{Z: -1}}, 0, 20))
}

// Instances: one hierarchy under several similarities answers as the moved vertices would.
func TestInstances(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	base := cards(t, 0, 2)
	sc := accel.NewScratch()
	for range 200 {
		to := geom.Scale(0.2 + r.Float64()).Then(geom.RotateX(6 * r.Float64())).Then(geom.RotateY(6 * r.Float64())).Then(geom.Translate(geom.Vec{X: 50 * r.Float64(), Y: -20, Z: 7}))
		moved := *base
		moved.ToWorld, moved.ToLocal, moved.Scale = to, to.Inverse(), math.Cbrt(to.Det())
		baked := cards(t, 0, 2)
		for i := range baked.Mesh.P {
			baked.Mesh.P[i] = to.Point(baked.Mesh.P[i])
		}
		h, err := accel.Build(baked.Mesh.P, baked.Mesh.Tri, accel.Options{})
		require.NoError(t, err)
		baked.BVH = h
		o := geom.Vec{X: 100 * r.Float64(), Y: 100 * r.Float64(), Z: 100}
		to2 := baked.Mesh.P[r.IntN(8)].Mad(0.3*r.Float64(), baked.Mesh.P[0].Sub(baked.Mesh.P[2]))
		ray := geom.Ray{O: o, D: to2.Sub(o).Unit()}
		var a, b Hit
		ok := moved.Closest(sc, ray, 0, math.Inf(1), &a)
		if ok != baked.Closest(sc, ray, 0, math.Inf(1), &b) {
			continue // an edge: rounding decides
		}
		if ok {
			require.InDelta(t, b.T, a.T, 1e-4)
		}
	}
}
