package lids

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/strand"
)

// The mouth that a hair comes out of: a small funnel in the skin, darker than the skin about it.
// Common practice, no published source.
const (
	funnelDepth = 0.05 // mm, of a hair 0.1 mm thick
	funnelWidth = 0.15 // mm
	mouthTone   = 0.62 // colour at its middle as a share of the skin's
)

// follicles presses the funnels of hairs into a skin of rows of w vertices, in the head's frame, and darkens their mouths: pix has
// one texel a vertex, w-1 a row, as the last vertex of a row is its first. Fine hairs leave no funnel.
func follicles(skin *mesh.Mesh, pix []float32, w int, sets ...*strand.Set) {
	type root struct {
		p geom.Vec
		k float64
	}
	const cell = 2 * funnelWidth
	key := func(v geom.Vec) [3]int32 {
		return [3]int32{int32(math.Floor(v.X / cell)), int32(math.Floor(v.Y / cell)), int32(math.Floor(v.Z / cell))}
	}
	near := map[[3]int32][]root{}
	for _, set := range sets {
		for i := range set.Hairs() {
			a := set.Start[i] + 1
			q := root{set.P[a], min(1, float64(set.R[a])/0.05)}
			if q.k < 0.4 {
				continue
			}
			lo, hi := key(q.p.Sub(geom.Vec{X: 1, Y: 1, Z: 1}.Mul(funnelWidth*1.4))), key(q.p.Add(geom.Vec{X: 1, Y: 1, Z: 1}.Mul(funnelWidth*1.4)))
			for x := lo[0]; x <= hi[0]; x++ {
				for y := lo[1]; y <= hi[1]; y++ {
					for z := lo[2]; z <= hi[2]; z++ {
						c := [3]int32{x, y, z}
						near[c] = append(near[c], q)
					}
				}
			}
		}
	}
	moved := map[uint32]bool{}
	for i, v := range skin.P {
		most := 0.0
		for _, q := range near[key(v)] {
			most = max(most, q.k*bell(v.Sub(q.p).Len()/(0.6*funnelWidth)))
		}
		if most < 0.02 {
			continue
		}
		skin.P[i] = v.Mad(-funnelDepth*most, skin.N[i])
		moved[uint32(i)] = true
		if i%w < w-1 {
			t := 3 * (i/w*(w-1) + i%w)
			tone := 1 - (1-mouthTone)*most
			for k := range 3 {
				pix[t+k] *= float32(math.Pow(tone, 0.8+0.2*float64(k)))
			}
		}
	}
	renormal(skin, moved)
}

// renormal finds the normals of moved vertices anew, as area-weighted means of the faces about their places.
func renormal(m *mesh.Mesh, moved map[uint32]bool) {
	sum := map[geom.Vec]geom.Vec{}
	for i := range moved {
		sum[m.P[i]] = geom.Vec{}
	}
	for _, t := range m.Tri {
		if !moved[t[0]] && !moved[t[1]] && !moved[t[2]] {
			continue
		}
		f := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]]))
		for _, i := range t {
			if moved[i] {
				sum[m.P[i]] = sum[m.P[i]].Add(f)
			}
		}
	}
	for i := range moved {
		if n := sum[m.P[i]]; n.Len2() > 0 {
			m.N[i] = n.Unit()
		}
	}
}
