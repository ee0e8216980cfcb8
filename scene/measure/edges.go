package measure

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// edges looks at the inner shell's picture along the axis. The edge of the iris is the circle about the axis of the
// steepest rise of lightness outward, at the sides; the pupil, where it is painted, a disc about the axis that is darker than half of
// the iris about it. Both are found in each of the sectors and their median is taken; the errors are those of the
// medians.
//
// Long: both edges are sought in one walk over the sectors.
func edges(m *mesh.Mesh, centre geom.Vec, f geom.Frame, reach float64, colour func(geom.UV) [3]float64) (edge, dark Value) {
	const byDark = "dark disc in the picture: half of the iris' lightness"
	q := look(m, centre, f, reach)
	const steps = 2 * rings
	var light [sectors][steps]float64
	var n [sectors][steps]float64
	for y := range grid {
		for x := range grid {
			i := y*grid + x
			if q.tri[i] < 0 {
				continue
			}
			px, py := q.place(x), q.place(y)
			k := int(math.Hypot(px, py) / reach * steps)
			if k >= steps {
				continue
			}
			t := m.Tri[q.tri[i]]
			a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
			u, v := q.u[i], q.v[i]
			w := 1 - u - v
			rgb := colour(geom.UV{U: w*a.U + u*b.U + v*c.U, V: w*a.V + u*b.V + v*c.V})
			// Linear, as tissues blend: the middle of a blend is its steepest place.
			l := max(0, 0.2126*rgb[0]+0.7152*rgb[1]+0.0722*rgb[2])
			s := int((math.Atan2(py, px)/(2*math.Pi)+1)*sectors) % sectors
			light[s][k] += l
			n[s][k]++
		}
	}
	d := reach / steps
	var at, rims []float64
	for s := range light {
		row := light[s]
		for k := range row {
			if n[s][k] > 0 {
				row[k] /= n[s][k]
			} else if k > 0 {
				row[k] = row[k-1]
			}
		}
		for k := steps - 2; k >= 0; k-- {
			if n[s][k] == 0 && k < 4 { // no cell's middle lies so near the axis
				row[k] = row[k+1]
			}
		}
		// Mean of six steps outside less mean of six inside.
		best, size := 0, 0.0
		lo, hi := int(0.25*reach/d), int(0.85*reach/d)
		for k := lo; k < hi; k++ {
			var in, out float64
			for j := range 6 {
				in, out = in+row[k-1-j]/6, out+row[k+j]/6
			}
			if out-in > size {
				best, size = k, out-in
			}
		}
		if size < 0.06 {
			continue
		}
		// The white reaches in above and below (Ruefer, Schroeder and Erb, Cornea 24 (2005), from memory): the sides tell.
		if a := (float64(s) + 0.5) / sectors * 2 * math.Pi; math.Abs(math.Cos(a)) > math.Sqrt2/2 {
			at = append(at, float64(best)*d)
		}
		// The pupil: from the axis outward to half of the lightness of the iris.
		if best > 12 {
			var iris []float64
			for k := best / 2; k < best-4; k++ {
				iris = append(iris, row[k])
			}
			half := median(iris) / 2
			if row[0] < 0.7*half || row[1] < 0.7*half {
				for k := 1; k < best; k++ {
					if row[k] > half {
						rims = append(rims, float64(k)*d)
						break
					}
				}
			}
		}
	}
	circle := func(v []float64, of int, by, why string) Value {
		if len(v) < of*2/3 {
			return none(by, "%s in %d of %d directions", why, len(v), of)
		}
		mid := median(v)
		off := make([]float64, len(v))
		for i := range v {
			off[i] = v[i] - mid
		}
		return Value{V: mid, SE: math.Hypot(d/math.Sqrt(12), 1.2533*spread(off)/math.Sqrt(float64(len(v)))), By: by, N: len(v), Held: true}
	}
	return circle(at, sectors/2, byEdge, "a step of lightness is found"), circle(rims, sectors, byDark, "a dark disc is found")
}
