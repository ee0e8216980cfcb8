// Package hair says how a single hair scatters light: a rough dielectric cylinder under tilted scales, with absorption inside.
//
//	Look   roughness, index and tilt of scales; New makes one
//	Fibre  a hair as one ray meets it: Meet fills it in, Eval, Pdf and Sample answer for directions
//
// Light is split by how often it is turned back inside: R off the surface, TT through, TRT turned back once, and all the rest.
// Each lobe is the product of what is left of the light (Fresnel and absorption along its way in the circular cross-section), a
// density along the hair and one around it. Without absorption the lobes sum to 1 for every ray, so no light is lost or won. The
// way of the light is that of the ray at its own place across the hair, so thin highlights glide over it; the mean over the
// width is the far-field model. Light from a direction is weighted by the side that it leaves by alone, so a hair with absorption
// or scales is reciprocal only where inclinations are equal and no scale is tilted; the mean over the width then is.
//
// Directions are unit vectors in the hair's frame: X along it toward the tip, Z across it toward the viewer, Y across the
// picture. A hit lies at asin(h) around from Z toward Y, h in [-1, 1]. Angles are in radians; densities per sr. Absorption is
// per radius of the hair, so that it does not depend on how thin a hair is drawn. Random numbers are arguments in (0, 1).
// Nothing here allocates or keeps state.
//
// Sources: Marschner, Jensen, Cammarano, Worley and Hanrahan, Light Scattering from Human Hair Fibers, SIGGRAPH 2003 (lobes, modified
// index, tilt); d'Eon, Francois, Hill, Letteri and Aubry, An Energy-Conserving Hair Reflectance Model, EGSR 2011 (density along the
// hair); d'Eon, Marschner and Hanika, Importance Sampling for Physically-Based Hair Fiber Models, SIGGRAPH Asia 2013 (its
// sampling); Chiang, Bitterli, Tappan and Burley, A Practical and Controllable Hair and Fur Model for Production Path
// Tracing, EGSR 2016 (ray at its own place, trimmed logistic, roughness). All from memory.
package hair

import (
	"fmt"
	"math"

	"catchlight/material/fresnel"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// lobes is how many lobes there are: R, TT, TRT and the rest.
const lobes = 4

// Look is what all hairs of one kind have in common. It does not change after New.
type Look struct {
	eta  float64
	wide [lobes]float64 // variance along the hair
	norm [lobes]float64 // of the density along it
	sin  [lobes]float64 // of the tilt of each lobe
	cos  [lobes]float64 //
	s    float64        // scale of the logistic around the hair
	cut  float64        // its share below -pi
	kept float64        // and between -pi and pi
}

// Usual is what human hair is made with: index 1.55, scales tilted by 2.5 degrees, roughness 0.25 along and 0.3 around.
//
// Source: Marschner et al. 2003, table 1, for index and tilt (2 to 4 degrees); roughness: common practice, no published source.
func Usual() *Look {
	l, err := New(1.55, geom.Radians(2.5), 0.25, 0.3)
	if err != nil {
		panic(err)
	}
	return l
}

// New makes a look of an index in [1.01, 3], a tilt of scales in [-0.35, 0.35] rad, and of roughness along the hair and around it in
// [0.02, 1].
func New(eta, tilt, along, around float64) (*Look, error) {
	for _, q := range []struct {
		name      string
		v, lo, hi float64
	}{{"index", eta, 1.01, 3}, {"tilt", tilt, -0.35, 0.35}, {"roughness along", along, 0.02, 1}, {"roughness around", around, 0.02, 1}} {
		if !(q.v >= q.lo && q.v <= q.hi) {
			return nil, fmt.Errorf("hair: %s: %g is outside [%g, %g]", q.name, q.v, q.lo, q.hi)
		}
	}
	l := &Look{eta: eta}
	// Chiang et al. 2016, section 4.1: even steps of roughness look even.
	v := 0.726*along + 0.812*along*along + 3.7*math.Pow(along, 20)
	v *= v
	l.s = math.Sqrt(math.Pi/8) * (0.265*around + 1.194*around*around + 5.372*math.Pow(around, 22))
	l.cut = logistic(-math.Pi, l.s)
	l.kept = logistic(math.Pi, l.s) - l.cut
	// Scales lean toward the tip: their faces look toward the root, so R turns that way by twice the tilt and the others back.
	for p, k := range [lobes]float64{2, -1, -4, 0} {
		l.wide[p] = v * [lobes]float64{1, 0.25, 4, 4}[p]
		l.norm[p] = 1 / (l.wide[p] * -math.Expm1(-2/l.wide[p]))
		l.sin[p], l.cos[p] = math.Sincos(k * tilt)
	}
	return l, nil
}

// Fibre is a hair as one ray meets it.
type Fibre struct {
	look *Look
	side [lobes]float64     // sine and cosine of the viewer's inclination, turned by the scales
	up   [lobes]float64     //
	turn [lobes - 1]float64 // where around the hair a lobe's middle is
	gain [lobes]colour.RGB  // what is left of the light
	odds [lobes]float64     // with which a lobe is chosen
}

// Meet fills in the fibre for a ray toward a viewer at an inclination whose sine is sinO, that meets the hair at h across it.
// sigma is absorption per radius.
func (f *Fibre) Meet(l *Look, sinO, h float64, sigma colour.RGB) {
	f.look = l
	sinO = max(-1, min(1, sinO))
	h = max(-1, min(1, h))
	cosO := math.Sqrt(max(1e-12, 1-sinO*sinO))
	for p := range lobes {
		f.side[p] = sinO*l.cos[p] + cosO*l.sin[p]
		f.up[p] = math.Abs(cosO*l.cos[p] - sinO*l.sin[p])
	}
	eta := math.Sqrt(l.eta*l.eta-sinO*sinO) / cosO // as the cross-section sees it
	outer, inner := math.Asin(h), math.Asin(h/eta)
	for p := range f.turn {
		f.turn[p] = 2*outer - 2*float64(p)*inner + float64(p)*math.Pi
	}
	r := fresnel.Dielectric(cosO*math.Sqrt(1-h*h), l.eta)
	way := 2 * math.Cos(inner) / math.Sqrt(1-sinO*sinO/(l.eta*l.eta))
	var sum float64
	for c, s := range sigma {
		t := math.Exp(-s * way)
		f.gain[0][c] = r
		f.gain[1][c] = (1 - r) * (1 - r) * t
		f.gain[2][c] = f.gain[1][c] * r * t
		f.gain[3][c] = f.gain[2][c] * r * t / (1 - r*t)
		if r >= 1 {
			f.gain[3][c] = 0
		}
	}
	for p := range lobes {
		f.odds[p] = f.gain[p].Luminance()
		sum += f.odds[p]
	}
	for p := range lobes {
		f.odds[p] /= sum
	}
}

// Share returns how much of even light the ray gets back: 1 without absorption.
func (f *Fibre) Share() (c colour.RGB) {
	for p := range f.gain {
		c = c.Add(f.gain[p])
	}
	return c
}

// Through returns how much of that goes through the hair once, most of it nearly straight on.
func (f *Fibre) Through() colour.RGB { return f.gain[1] }

// Eval returns what the hair sends to the viewer of light from wi, times the cosine of its inclination, per sr; and the density with
// which Sample chooses wi.
func (f *Fibre) Eval(wi geom.Vec) (v colour.RGB, pdf float64) {
	sinI := max(-1, min(1, wi.X))
	cosI := math.Sqrt(1 - sinI*sinI)
	phi := math.Atan2(wi.Y, wi.Z)
	for p := range lobes {
		q := f.along(p, sinI, cosI)
		if p < len(f.turn) {
			q *= f.look.around(phi - f.turn[p])
		} else {
			q *= 1 / (2 * math.Pi)
		}
		v = v.Add(f.gain[p].Scale(q))
		pdf += f.odds[p] * q
	}
	return v, pdf
}

// Sample chooses a direction, and returns what the hair sends from there over the density, and the density.
func (f *Fibre) Sample(u [4]float64) (wi geom.Vec, weight colour.RGB, pdf float64) {
	p := 0
	for x := u[0]; p < lobes-1 && x >= f.odds[p]; p++ {
		x -= f.odds[p]
	}
	// d'Eon et al. 2013, equation 6, about the viewer's mirror image in the cross-section.
	c := 1 + f.look.wide[p]*math.Log(u[1]+(1-u[1])*math.Exp(-2/f.look.wide[p]))
	c = max(-1, min(1, c))
	sinI := -c*f.side[p] + math.Sqrt(1-c*c)*math.Cos(2*math.Pi*u[2])*f.up[p]
	sinI = max(-1, min(1, sinI))
	phi := 2 * math.Pi * u[3]
	if p < len(f.turn) {
		phi = f.turn[p] + f.look.pick(u[3])
	}
	s, k := math.Sincos(phi)
	cosI := math.Sqrt(1 - sinI*sinI)
	wi = geom.Vec{X: sinI, Y: cosI * s, Z: cosI * k}
	v, pdf := f.Eval(wi)
	if !(pdf > 0) {
		return wi, colour.RGB{}, 0
	}
	return wi, v.Scale(1 / pdf), pdf
}

// along is the density of a lobe along the hair: over the sine of the inclination it integrates to 1.
//
// Source: d'Eon et al. 2011, equation 7.
func (f *Fibre) along(p int, sinI, cosI float64) float64 {
	v := f.look.wide[p]
	a := cosI * f.up[p] / v
	return bessel(a) * math.Exp(a-(sinI*f.side[p]+1)/v) * f.look.norm[p]
}

// around is the trimmed logistic about 0 of an angle, per rad.
func (l *Look) around(x float64) float64 {
	x = math.Abs(x - 2*math.Pi*math.Round(x/(2*math.Pi)))
	e := math.Exp(-x / l.s)
	return e / (l.s * (1 + e) * (1 + e) * l.kept)
}

// pick chooses an angle in [-pi, pi] by around.
func (l *Look) pick(u float64) float64 {
	return max(-math.Pi, min(math.Pi, -l.s*math.Log(1/(u*l.kept+l.cut)-1)))
}

// logistic is the cumulative logistic function of scale s.
func logistic(x, s float64) float64 { return 1 / (1 + math.Exp(-x/s)) }

// bessel is the modified Bessel function I0 of x >= 0, times exp(-x), to 2e-7.
//
// Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 9.8.1 and 9.8.2.
func bessel(x float64) float64 {
	if x < 3.75 {
		t := x / 3.75
		t *= t
		return math.Exp(-x) * (1 + t*(3.5156229+t*(3.0899424+t*(1.2067492+t*(0.2659732+t*(0.0360768+t*0.0045813))))))
	}
	t := 3.75 / x
	return (0.39894228 + t*(0.01328592+t*(0.00225319+t*(-0.00157565+t*(0.00916281+t*(-0.02057706+t*(0.02635537+t*(-0.01647633+t*0.00392377)))))))) / math.Sqrt(x)
}
