package shells

import (
	"fmt"
	"math"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Frame returns the turn that takes axis to +Z and keeps +Y up as far as it can.
func Frame(axis geom.Vec) (geom.Affine, error) {
	l := axis.MaxAbs()
	if !axis.Finite() || l < 1e-12 {
		return geom.Affine{}, fmt.Errorf("asset.axis: [%g, %g, %g] is no direction", axis.X, axis.Y, axis.Z)
	}
	z := axis.Mul(1 / l).Unit()
	x := geom.Vec{Y: 1}.Cross(z)
	if x.Len2() < 1e-12 {
		x = geom.Vec{X: 1}
	}
	x = x.Unit()
	return geom.Affine{M: [3]geom.Vec{x, z.Cross(x), z}}, nil
}

// Centre moves both shells so that the optical axis is x = y = 0 and the globe's centre is the origin, and returns notes on the
// sizes. Either may be nil. The axis passes through the middle of the corneal cap: the front 6 % of the axial length. The centre
// lies one radius before the back pole; of a shell that has no back, or a flat one, it is that of the sphere on which its white
// lies, else its middle. What lies before the origin alone can be iris and cornea. white is the distance from the axis in mm from
// which all is white.
func Centre(outer, inner *mesh.Mesh, white float64) (notes []string) {
	lead := outer
	if lead == nil {
		lead = inner
	}
	box := lead.Bounds()
	size := box.Size()
	length, radius := size.Z, (size.X+size.Y)/4
	var sum geom.Vec
	var area float64
	for _, t := range lead.Tri {
		a, b, c := lead.P[t[0]], lead.P[t[1]], lead.P[t[2]]
		if a.Z+b.Z+c.Z < 3*(box.Hi.Z-0.06*length) {
			continue
		}
		w := b.Sub(a).Cross(c.Sub(a)).Len()
		sum = sum.Mad(w/3, a.Add(b).Add(c))
		area += w
	}
	o := box.Centre()
	if area > 0 {
		o = sum.Mul(1 / area)
	}
	o.Z = box.Lo.Z + radius
	back := ""
	if length < wholeGlobe*radius {
		if c, r, ok := whiteSphere(lead, o, white); ok && c.Z < box.Hi.Z {
			o.Z, radius, back = c.Z, r, "it has no back; that is the centre of the sphere on which its white lies"
		} else {
			o.Z, back = box.Centre().Z, "it is too short for a globe; that is its middle"
		}
	}
	for _, m := range []*mesh.Mesh{outer, inner} {
		if m == nil {
			continue
		}
		for i := range m.P {
			m.P[i] = m.P[i].Sub(o)
		}
	}
	notes = append(notes, fmt.Sprintf("the asset's eye is %.4g mm long and %.4g mm wide; moved by (%.3g, %.3g, %.3g) mm, so that its globe of radius %.4g mm has its centre in the origin",
		length, size.X, -o.X, -o.Y, -o.Z, radius))
	if back != "" {
		notes = append(notes, fmt.Sprintf("the shells' length is %.3g of their width: %s, %.4g mm behind the front pole", length/((size.X+size.Y)/2), back, box.Hi.Z-o.Z))
	}
	if doubt := SizeDoubt(lead); doubt != "" {
		notes = append(notes, doubt)
	}
	return notes
}

// SizeDoubt says that the length of an eye's shell, outer or inner, is no eye's, and what would mend it; "" where it is one's.
func SizeDoubt(lead *mesh.Mesh) string {
	length := lead.Bounds().Size().Z
	if length >= asset.ShortEye && length <= asset.LongEye {
		return ""
	}
	return fmt.Sprintf("the axial length of %.4g mm is outside %d to %d mm: %s", length, asset.ShortEye, asset.LongEye, unitGuess(length))
}

// wholeGlobe is the length in radii from which a shell has a back: a whole globe has 2 and its bulge, a front half 1 and that.
const wholeGlobe = 1.75

// whiteSphere fits a sphere to what of a shell lies at least limbus mm from an axis through o, without caps; to all of it where
// that is nothing. ok is false where it is no part of a sphere: where the mean deviation is over 3 % of the radius.
func whiteSphere(m *mesh.Mesh, o geom.Vec, limbus float64) (c geom.Vec, r float64, ok bool) {
	weight := make([]float64, len(m.P))
	var all, white float64
	for pass := range 2 {
		for i, t := range m.Tri {
			if m.Part != nil && m.Part[i] == mesh.Backing {
				continue
			}
			area := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]])).Len()
			for _, v := range t {
				if q := m.P[v].Sub(o); math.Hypot(q.X, q.Y) > limbus {
					weight[v] += area
					white += area
				} else if pass == 1 {
					weight[v] += area
				}
				all += area
			}
		}
		if white > 0.02*all {
			break
		}
	}
	at := func(i int) (geom.Vec, float64) { return m.P[i], weight[i] }
	if c, r, ok = mesh.FitSphere(len(m.P), at); !ok {
		return
	}
	var off, sum float64
	for i, w := range weight {
		off += w * math.Abs(m.P[i].Sub(c).Len()-r)
		sum += w
	}
	return c, r, off < 0.03*r*sum
}

// unitGuess names the mistake of units that would explain an axial length in mm.
func unitGuess(length float64) string {
	for _, q := range []struct {
		k    float64
		what string
	}{{1e-3, "millimetres stored as metres"}, {1e-2, "centimetres stored as metres"}, {1e-3 * 25.4, "inches stored as metres"},
		{0.1, "a factor of ten too much"}, {10, "a factor of ten too little"}, {1e3, "metres taken for millimetres"}} {
		if l := length * q.k; l >= asset.ShortEye && l <= asset.LongEye {
			return fmt.Sprintf("probably %s; asset.factor %g times as large would give %.3g mm", q.what, q.k, l)
		}
	}
	return fmt.Sprintf("asset.factor %.3g times as large would give 24 mm", 24/length)
}
