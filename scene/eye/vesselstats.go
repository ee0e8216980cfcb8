package eye

import (
	"math"
	"slices"
)

// VesselStats says what the vessels of one layer are like, as they were grown.
type VesselStats struct {
	Layer   string
	Widths  [3]float64 // diameters at the 2nd, 50th and 98th percentile of the length, mm
	Depths  [3]float64 // the same of how deep they lie, mm
	Length  float64    // of all, mm
	Turn    float64    // the largest turn along a vessel's own width, degrees
	Levels  int        // forks one after another, at most
	Winding float64    // path over chord, in the mean of vessels longer than 2 mm
}

// VesselStats lists the layers of vessels in the order of the list.
func (e *Eye) VesselStats() (out []VesselStats) {
	for i := range e.Params.Paint {
		l := &e.Params.Paint[i]
		if v := e.nets[l.Name]; v != nil {
			s := v.stats()
			s.Layer = l.Name
			out = append(out, s)
		}
	}
	return out
}

func (v *net) stats() (s VesselStats) {
	type piece struct{ value, length float64 }
	var widths, depths []piece
	var winding, long float64
	for _, q := range v.vessels {
		s.Levels = max(s.Levels, q.level)
		path := 0.0
		for i := 1; i < len(q.joints); i++ {
			a, b := q.joints[i-1], q.joints[i]
			l := math.Hypot(b.x-a.x, b.y-a.y)
			path += l
			widths = append(widths, piece{2 * b.r, l})
			depths = append(depths, piece{v.depthAt(b.x, b.y), l})
			if i+1 < len(q.joints) && l > 0 {
				c := q.joints[i+1]
				next := math.Hypot(c.x-b.x, c.y-b.y)
				d := math.Abs(turn(math.Atan2(c.y-b.y, c.x-b.x) - math.Atan2(b.y-a.y, b.x-a.x)))
				s.Turn = max(s.Turn, d/(0.5*(l+next))*2*b.r*180/math.Pi)
			}
		}
		s.Length += path
		if n := len(q.joints) - 1; path > 2 {
			if chord := math.Hypot(q.joints[n].x-q.joints[0].x, q.joints[n].y-q.joints[0].y); chord > 1 {
				winding, long = winding+path/chord, long+1
			}
		}
	}
	if long > 0 {
		s.Winding = winding / long
	}
	at := func(ps []piece) (out [3]float64) {
		slices.SortFunc(ps, func(a, b piece) int {
			switch {
			case a.value < b.value:
				return -1
			case a.value > b.value:
				return 1
			}
			return 0
		})
		sum, k := 0.0, 0
		for _, p := range ps {
			sum += p.length
			for k < 3 && sum >= [3]float64{0.02, 0.5, 0.98}[k]*s.Length {
				out[k] = p.value
				k++
			}
		}
		return out
	}
	s.Widths, s.Depths = at(widths), at(depths)
	return s
}
