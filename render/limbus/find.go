package limbus

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

const (
	coarse = 160 // longer side of the picture that is searched first, in pixels
	rays   = 180 // along which the outline is sought then
	// Sectors, in radians from the horizontal, where lids seldom cover the limbus: y grows downward.
	sectorUp, sectorDown = -0.6, 0.9
)

// Find looks for the limbus of one eye in a picture and returns points of it. signal is brightness as displayed, 0 to 1, rows
// of width pixels. It finds a dark disc in something brighter that is nearly round, from a twelfth of the picture's smaller
// side to all of it; what it finds must be looked at.
//
// The search for a circle follows Daugman, High Confidence Visual Recognition of Persons by a Test of Statistical
// Independence, IEEE Trans. Pattern Anal. Mach. Intell. 15(11), 1993: the circle across which the mean brightness rises most.
// Here the rise counts by the root of the radius, so that the pupil's edge does not win.
func Find(signal []float64, width int) ([]Point, error) {
	if width < 1 || len(signal) == 0 || len(signal)%width != 0 {
		return nil, fmt.Errorf("limbus: %d values in rows of %d", len(signal), width)
	}
	height := len(signal) / width
	if min(width, height) < 24 {
		return nil, fmt.Errorf("limbus: %d x %d pixels are too few to search", width, height)
	}
	k := (max(width, height) + coarse - 1) / coarse
	small := plane{shrink(signal, width, k), width / k, height / k}
	x, y, r, rise := small.circle()
	if !(rise > 0.02) {
		return nil, errors.New("limbus: no dark disc in something brighter; give points of the limbus")
	}
	scale := float64(k)
	full := plane{signal, width, height}
	e := Ellipse{x * scale, y * scale, r * scale, r * scale, 0}
	var points []Point
	for range 3 { // a circle is a poor start for an eye that looks aside
		var err error
		if points, err = full.outline(e); err != nil {
			return nil, err
		}
		if e, err = Fit(points); err != nil {
			return nil, err
		}
	}
	return points, nil
}

// plane is a picture of one channel.
type plane struct {
	v    []float64
	w, h int
}

// shrink returns the means of k x k pixels; what is left over at the edges falls away.
func shrink(v []float64, width, k int) []float64 {
	w, h := width/k, len(v)/width/k
	out := make([]float64, w*h)
	for i := range out {
		for b := range k {
			for a := range k {
				out[i] += v[(i/w*k+b)*width+i%w*k+a] / float64(k*k)
			}
		}
	}
	return out
}

// at interpolates at a film position; outside it is NaN.
func (p *plane) at(x, y float64) float64 {
	x, y = x-0.5, y-0.5
	i, j := int(math.Floor(x)), int(math.Floor(y))
	if i < 0 || j < 0 || i+1 >= p.w || j+1 >= p.h {
		return math.NaN()
	}
	u, v := x-float64(i), y-float64(j)
	q := p.v[j*p.w+i:]
	return (1-v)*((1-u)*q[0]+u*q[1]) + v*((1-u)*q[p.w]+u*q[p.w+1])
}

// circle returns the circle across which brightness rises most, and the rise.
func (p *plane) circle() (x, y, r, rise float64) {
	const around = 24
	var dir [around]Point
	for i := range dir {
		t := sectorUp + (sectorDown-sectorUp)*(float64(i%(around/2))+0.5)/(around/2)
		sin, cos := math.Sincos(t)
		if i >= around/2 {
			cos = -cos
		}
		dir[i] = Point{cos, sin}
	}
	side := float64(min(p.w, p.h))
	most := 0.55 * side
	var mean [2][]float64 // right, left
	best := 0.0
	for cy := 0.15 * float64(p.h); cy <= 0.85*float64(p.h); cy++ {
		for cx := 0.15 * float64(p.w); cx <= 0.85*float64(p.w); cx++ {
			mean[0], mean[1] = mean[0][:0], mean[1][:0]
			for q := 1.0; q <= most; q++ {
				var sum [2]float64
				for i, d := range dir {
					sum[2*i/around] += p.at(cx+q*d.X, cy+q*d.Y)
				}
				if sum[0] != sum[0] || sum[1] != sum[1] {
					break // out of the picture
				}
				mean[0], mean[1] = append(mean[0], sum[0]/(around/2)), append(mean[1], sum[1]/(around/2))
			}
			for i := int(side / 24); i+2 < len(mean[0]); i++ {
				// Both sides must rise, lest the pupil's edge on one and the limbus on the other are taken for a circle.
				d := math.Inf(1)
				for _, m := range mean {
					d = min(d, (m[i+1]+m[i+2]-m[max(i-1, 0)]-m[max(i-2, 0)])/2)
				}
				if s := d * math.Sqrt(float64(i+1)); s > best {
					best, x, y, r, rise = s, cx, cy, float64(i+1), d
				}
			}
		}
	}
	return x, y, r, rise
}

// outline sharpens an ellipse to points: along rays where brightness rises most, as far as they lie on one ellipse.
func (p *plane) outline(e Ellipse) ([]Point, error) {
	sigma := max(1, 0.04*e.B)
	reach := int(math.Ceil(3 * sigma))
	kernel := make([]float64, 2*reach+1) // derivative of a Gaussian
	for i := range kernel {
		d := float64(i - reach)
		kernel[i] = d * math.Exp(-d*d/(2*sigma*sigma))
	}
	var points []Point
	for i := range rays {
		edge := e.At(2 * math.Pi * (float64(i) + 0.5) / rays)
		r := math.Hypot(edge.X-e.X, edge.Y-e.Y)
		cos, sin := (edge.X-e.X)/r, (edge.Y-e.Y)/r
		best, at := 0.0, 0.0
		for q := 0.75 * r; q <= 1.3*r; q += 0.5 {
			sum := 0.0
			for j, k := range kernel {
				d := q + float64(j-reach)
				sum += k * p.at(e.X+d*cos, e.Y+d*sin)
			}
			if sum > best { // false where the line leaves the picture
				best, at = sum, q
			}
		}
		if at > 0 {
			points = append(points, Point{e.X + at*cos, e.Y + at*sin})
		}
	}
	e, ok := median(points)
	if !ok {
		return nil, fmt.Errorf("limbus: only %d of %d points of its outline are there; give points of the limbus", len(points), rays)
	}
	// Lids, lashes and catchlights draw some points off: keep those near the ellipse of the rest.
	for range 4 {
		away := make([]float64, len(points))
		for i, q := range points {
			away[i] = math.Abs(e.Distance(q))
		}
		limit := slices.Clone(away)
		slices.Sort(limit)
		// 1.4826 of the median is the standard deviation of a normal scatter.
		most := max(0.5, 2.5*1.4826*limit[len(limit)/2])
		var kept []Point
		for i, q := range points {
			if away[i] <= most {
				kept = append(kept, q)
			}
		}
		points = kept
		var err error
		if e, err = Fit(points); err != nil {
			return nil, err
		}
	}
	if len(points) < rays/4 {
		return nil, fmt.Errorf("limbus: only %d of %d points of its outline agree; give points of the limbus", len(points), rays)
	}
	return points, nil
}

// median returns the ellipse through six of the points to which half of all points lie nearest.
//
// Source: Rousseeuw, Least Median of Squares Regression, J. Am. Stat. Assoc. 79, 1984.
func median(points []Point) (best Ellipse, ok bool) {
	const trials, some = 400, 6
	if len(points) < 2*some {
		return best, false
	}
	r := rand.New(rand.NewPCG(1984, 79)) // the same points give the same ellipse
	least := math.Inf(1)
	away := make([]float64, len(points))
	for range trials {
		var pick [some]Point
		for i := range pick {
			pick[i] = points[r.IntN(len(points))]
		}
		e, err := Fit(pick[:])
		if err != nil || e.B < 0.4*e.A {
			continue
		}
		for i, p := range points {
			away[i] = math.Abs(e.Distance(p))
		}
		slices.Sort(away)
		if m := away[len(away)/2]; m < least {
			best, least, ok = e, m, true
		}
	}
	return best, ok
}
