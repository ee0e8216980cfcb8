package shells

import (
	"fmt"

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

// Centre moves both shells so that the optical axis is x = y = 0 and the back pole lies one radius behind the origin,
// and returns notes on the sizes. Either may be nil. The axis passes through the middle of the corneal cap: the front 6 % of
// the axial length.
func Centre(outer, inner *mesh.Mesh) (notes []string) {
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
