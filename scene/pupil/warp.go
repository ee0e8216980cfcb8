package pupil

import (
	"errors"
	"fmt"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// steepest is the largest slope of fade below, in size: with it the warp stays one-to-one.
const steepest = 4.0 / 3

// fade is 1 at the contour (0) and 0 at the root (1), with slope -1 and 0.
func fade(t float64) float64 { return (1 - t) * (1 - t) * (1 + t) }

// Widest returns the largest diameter that Warp can give the pupil; 0 where there is none.
func (p *Pupil) Widest(root float64) float64 {
	if !p.Open {
		return 0
	}
	w, _ := p.widest(root)
	return w
}

// widest also returns the distance of the root from the pupil's centre by azimuth. Along each, rho + (s-1) rc fade(t)
// with t = (rho-rc)/(end-rc) rises as long as steepest (s-1) rc < end - rc.
func (p *Pupil) widest(root float64) (diameter float64, end [rays]float64) {
	s := math.Inf(1)
	for k := range end {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / rays)
		b := p.Offset[0]*cos + p.Offset[1]*sin
		c := p.Offset[0]*p.Offset[0] + p.Offset[1]*p.Offset[1] - root*root
		end[k] = -b + math.Sqrt(max(0, b*b-c))
		s = min(s, 1+0.98*(end[k]-p.contour[k])/(steepest*p.contour[k]))
	}
	return 2 * p.Radius * max(0, s), end
}

// radial is how Warp moves along one azimuth: rc the contour's distance from the pupil's centre, end the root's, scale the new size
// over the old.
func radial(rho, rc, end, scale float64) float64 {
	switch t := (rho - rc) / (end - rc); {
	case t <= 0:
		return scale * rho
	case t < 1:
		return rho + (scale-1)*rc*fade(t)
	}
	return rho
}

// around returns the distances of contour and root from the pupil's centre at an azimuth.
func (p *Pupil) around(phi float64, root *[rays]float64) (rc, end float64) {
	k := phi / (2 * math.Pi) * rays
	k -= math.Floor(k/rays) * rays
	j := int(k)
	f := k - float64(j)
	return p.At(phi), root[j%rays]*(1-f) + root[(j+1)%rays]*f
}

// Unwarp returns where points of the iris plane, right and up of the axis, were before Warp made the pupil that wide with that root: the way
// back, within 1e-6 of the root.
func (p *Pupil) Unwarp(diameter, root float64) func(x, y float64) (float64, float64) {
	if !p.Open {
		return func(x, y float64) (float64, float64) { return x, y }
	}
	_, ends := p.widest(root)
	scale := diameter / (2 * p.Radius)
	return func(x, y float64) (float64, float64) {
		dx, dy := x-p.Offset[0], y-p.Offset[1]
		rho := math.Hypot(dx, dy)
		rc, end := p.around(math.Atan2(dy, dx), &ends)
		if rho == 0 || rho >= end {
			return x, y
		}
		lo, hi := 0.0, end
		for hi-lo > 1e-6*root {
			if mid := (lo + hi) / 2; radial(mid, rc, end, scale) < rho {
				lo = mid
			} else {
				hi = mid
			}
		}
		g := (lo + hi) / 2 / rho
		return p.Offset[0] + dx*g, p.Offset[1] + dy*g
	}
}

// Warp moves the vertices of the inner shell, whose frame is that of Find with the centre in the origin, so that the
// pupil has the area of a circle of the given diameter. Within the contour everything is scaled about its centre; from
// there to the root, a circle of that radius about the axis, the shift dies away, so that tissue and what is painted on
// it are squeezed or drawn out as the iris does. Nothing moves beyond the root or far behind the iris. Normals are made
// anew; texture coordinates stay with their vertices.
//
// It is an error where there is no hole, and for a pupil so wide that the tissue would fold.
func (p *Pupil) Warp(m *mesh.Mesh, diameter, root float64) error {
	if !p.Open {
		return errors.New("the inner shell has no hole about the axis: there is no pupil to warp")
	}
	widest, end := p.widest(root)
	if diameter > widest {
		return fmt.Errorf("a pupil of %.3g mm would fold the iris, whose root lies %.3g mm from the axis; at most %.3g mm", diameter, root, widest)
	}
	s := diameter / (2 * p.Radius)
	deep, gone := p.Plane-0.35*root, p.Plane-0.7*root
	for i, q := range m.P {
		x, y := q.X-p.Offset[0], q.Y-p.Offset[1]
		rho := math.Hypot(x, y)
		if rho == 0 {
			continue
		}
		weight := geom.Smoothstep(gone, deep, q.Z)
		rc, e := p.around(math.Atan2(y, x), &end)
		if rho >= e {
			continue
		}
		to := radial(rho, rc, e, s)
		g := 1 + weight*(to/rho-1)
		m.P[i].X, m.P[i].Y = p.Offset[0]+x*g, p.Offset[1]+y*g
	}
	mesh.Normals(m)
	return nil
}
