package layout

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
)

// Disc is a map of an eye's front about its axis, f(phi) the distance from the middle: within the limbus proportional to the half
// chord, and outside it along/across = m, so that f'/f = m/sin(phi) and f = f0 (tan(phi/2)/tan(phi0/2))^m. Over the first degrees m
// eases from that of the iris, so that there is no kink at the limbus.
type Disc struct {
	Globe, Limbus float64 // radii, mm
	Share         float64 // of the disc's radius, that the iris gets
	Cover         float64 // angle at the disc's rim
	Rim           float64 // radius of the disc in the plane: 1/2 less a margin

	phi0 float64
	m0   float64 // m at the limbus
	m    float64 // m outside the ease
	ease [easeSteps + 1]float64
}

// What is asked of a disc where nobody says: own choice. At 0.6 of the radius the iris has 1.5 times the texels of a projection along
// the axis, and 91 degrees are about the most that keep the worst stretch under 3.
const (
	UsualShare = 0.6
	UsualCover = 91 // degrees
	// margin of the disc in the plane, in shares of its side: room for padding.
	discMargin = 0.001

	easeOver  = 5 // degrees over which m eases
	easeSteps = 64
)

// NewDisc lays out an eye; the cover is in degrees.
func NewDisc(globe, limbus, share, cover float64) (*Disc, error) {
	if !(globe > 0) || !(limbus > 0.1*globe) || !(limbus < 0.85*globe) {
		return nil, fmt.Errorf("a limbus of %.3g mm does not lie on a globe of radius %.3g mm: 0.1 to 0.85 of it", limbus, globe)
	}
	d := &Disc{Globe: globe, Limbus: limbus, Share: share, Cover: geom.Radians(cover), Rim: 0.5 - discMargin}
	d.phi0 = math.Asin(limbus / globe)
	d.m0 = math.Cos(d.phi0) // on the plane of the iris along and across are equal; on the sphere under it they differ by this
	low := geom.Degrees(d.phi0) + 2*easeOver
	if !(cover >= low && cover <= 150) {
		return nil, fmt.Errorf("a cover of %.4g degrees: must be %.3g (the limbus and what eases about it) to 150", cover, low)
	}
	if !(share > 0 && share < 1) {
		return nil, fmt.Errorf("a share of %.3g for the iris: must be above 0 and below 1", share)
	}
	// The integral of w/sin over the ease, w falling from 1 to 0.
	h := geom.Radians(easeOver) / easeSteps
	for i := range easeSteps {
		d.ease[i+1] = d.ease[i] + d.simpson(d.phi0+float64(i)*h, h)
	}
	all := math.Log(math.Tan(d.Cover/2) / math.Tan(d.phi0/2))
	eased := d.ease[easeSteps]
	d.m = (math.Log(1/share) - d.m0*eased) / (all - eased)
	if d.m < 0.05 {
		return nil, fmt.Errorf("a share of %.3g for the iris leaves the white less than a twentieth of its width; at most %.3g", share,
			math.Exp(-(d.m0*eased + 0.05*(all-eased))))
	}
	return d, nil
}

// Even is the share of the iris at which nothing is stretched: along and across are equal everywhere.
func Even(globe, limbus, cover float64) float64 {
	return math.Tan(math.Asin(limbus/globe)/2) / math.Tan(geom.Radians(cover)/2)
}

// At is f at an angle from the axis of 0 to below pi; it goes on beyond the rim.
func (d *Disc) At(phi float64) float64 {
	if phi <= d.phi0 {
		return d.Rim * d.Share * math.Sin(phi) * d.Globe / d.Limbus
	}
	e := d.eased(phi)
	phi = min(phi, math.Pi-1e-4)
	return d.Rim * d.Share * math.Exp(d.m0*e+d.m*(math.Log(math.Tan(phi/2)/math.Tan(d.phi0/2))-e))
}

// eased is the integral of w/sin from the limbus to phi.
func (d *Disc) eased(phi float64) float64 {
	x := (phi - d.phi0) / geom.Radians(easeOver) * easeSteps
	if x >= easeSteps {
		return d.ease[easeSteps]
	}
	i := int(x)
	a := d.phi0 + float64(i)*geom.Radians(easeOver)/easeSteps
	return d.ease[i] + d.simpson(a, phi-a)
}

// simpson is the integral of w/sin from a over h by Simpson's rule.
func (d *Disc) simpson(a, h float64) float64 {
	w := func(phi float64) float64 {
		return (1 - geom.Smoothstep(0, geom.Radians(easeOver), phi-d.phi0)) / math.Sin(phi)
	}
	return h / 6 * (w(a) + 4*w(a+h/2) + w(a+h))
}

// Angle is the inverse of At, for distances up to the rim.
func (d *Disc) Angle(f float64) float64 {
	if f <= d.Rim*d.Share {
		return math.Asin(min(1, max(0, f/(d.Rim*d.Share)*d.Limbus/d.Globe)))
	}
	lo, hi := d.phi0, math.Pi-1e-4
	for range 60 {
		if mid := (lo + hi) / 2; d.At(mid) < f {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// Density is texels per mm of a map of that many pixels a side, along the meridian and across it: on the sphere, and within the
// limbus on the plane of the iris.
func (d *Disc) Density(phi, px float64) (along, across float64) {
	if phi <= d.phi0 {
		k := px * d.Rim * d.Share / d.Limbus
		return k, k
	}
	f := px * d.At(phi) / (d.Globe * math.Sin(phi))
	return f * d.ratio(phi), f
}

// ratio is along over across outside the limbus.
func (d *Disc) ratio(phi float64) float64 {
	w := 1 - geom.Smoothstep(0, geom.Radians(easeOver), phi-d.phi0)
	return d.m + w*(d.m0-d.m)
}

// Stretch is the worst ratio of the two densities over the disc, at least 1.
func (d *Disc) Stretch() float64 {
	worst := 1.0
	for i := range 257 {
		r := d.ratio(d.phi0 + (d.Cover-d.phi0)*float64(i)/256)
		worst = max(worst, r, 1/r)
	}
	return worst
}

// UV is the place of a direction: at an angle phi from the axis, (cos, sin) about it from +X toward +Y.
func (d *Disc) UV(phi, cos, sin float64) geom.UV {
	f := d.At(phi)
	return geom.UV{U: 0.5 + f*cos, V: 0.5 - f*sin}
}

// Isle is a small disc of its own.
type Isle struct{ U, V, R float64 }

// The largest circles that the disc leaves in the corners of its square, less a margin.
const isleR, isleAt = 0.082, 0.0878

// The isles: the back of the eye in the upper right corner, what lies behind the pupil in the upper left one.
var (
	Back = Isle{1 - isleAt, isleAt, isleR}
	Well = Isle{isleAt, isleAt, isleR}
)

// UV is the place at a share of the isle's radius in the direction (cos, sin).
func (i Isle) UV(share, cos, sin float64) geom.UV {
	return geom.UV{U: i.U + share*i.R*cos, V: i.V - share*i.R*sin}
}
