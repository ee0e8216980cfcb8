package lids

import (
	"math"

	"catchlight/scene/geom"
)

// loop is the line along which both lids' rear lips touch the globe, once round, in azimuth (positive toward the nose) and
// elevation about the globe's centre. Each lid is a cubic through both corners, its peak and a shoulder on either side of it;
// the corners are rounded as the tips of conics.
type loop struct {
	outer, inner float64 // azimuths of the corners
	low, high    float64 // elevations of the line between them, at the outer and the inner corner
	top, bottom  *spline // shape over and under that line, 1 at the peak
	up, down     float64 // their sizes
	blink        float64
	outerRound   float64 // radius of the tip times twice the way along the middle line an azimuth
	innerRound   float64
	outerFade    float64
	innerFade    float64
	least        float64 // half of the least opening
	slit         float64 // half of what a closed opening keeps
}

// What the two tips are rounded with, mm. On a globe's flank the outer one is seen at an angle: from the front its radius
// is 0.3 mm.
const outerTip, innerTip = 0.12, 0.6

// slitWidth is what stays between the faces of closed rims, mm: no straight line passes, as they are bent alike.
const slitWidth = 0.02

// The shoulders lie this far from the middle of the eye, as a share of the corners' distances.
const outerShoulder, innerShoulder = 0.7, 0.56

// newLoop lays the loop for the heights of both rims over the middle of the eye.
func newLoop(p *Params, g *ground, upper, low float64) *loop {
	r := g.globe.radius
	outer, inner := p.corners(r)
	l := &loop{blink: p.Blink, high: math.Asin(g.tip.Y / g.tip.Len()), inner: math.Atan2(inner, g.tip.Z)}
	y := chordY + p.Tilt*outer/(outer+inner)
	far := r
	for range 3 {
		l.low = math.Asin(y / far)
		l.outer = -math.Asin(min(0.98, outer/(far*math.Cos(l.low))))
		far = g.globe.at(direction(l.outer, l.low)) + p.Gap
	}
	rise := func(y float64) (el float64) {
		for range 4 {
			el = math.Asin(y / (g.globe.at(direction(0, el)) + p.Gap))
		}
		return el
	}
	arch := func(peak, outside, inside, slope0, slope1 float64) *spline {
		x := []float64{l.outer, -math.Asin(outerShoulder * outer / r), math.Asin(peak / r), math.Asin(innerShoulder * inner / r), l.inner}
		return newSpline(x, []float64{0, outside, 1, inside, 0}, slope0, -slope1)
	}
	// The line between the corners is aslant, so the shapes' peaks are not where the rims are highest and lowest: correct for that.
	peak := [2]float64{p.UpperPeak, p.LowerPeak}
	for range 12 {
		l.top = arch(peak[0], 0.56, 0.72, 0.45, 2.05)
		l.bottom = arch(peak[1], 0.70, 0.50, 0.33, 1.9)
		l.up = (rise(upper) - l.chord(0)) / l.top.at(0)
		l.down = (l.chord(0) - rise(low)) / l.bottom.at(0)
		top, bottom := l.peaks(g)
		peak[0] = max(-4, min(peak[0]+p.UpperPeak-top, 4))
		peak[1] = max(-4, min(peak[1]+p.LowerPeak-bottom, 4))
	}
	// Along the middle line an azimuth is a way of r on the globe, and more where it has left it, aslant.
	way := g.tip.Len() * g.tip.Len() / (g.tip.Z + nasalSlope*g.tip.X)
	l.outerRound, l.outerFade = 2*outerTip/r, 1.5/r
	l.innerRound, l.innerFade = 2*innerTip*way/g.tip.Len2(), 2.5/way
	l.least, l.slit = leastOpening/(2*r), slitWidth/(2*r)
	return l
}

// peaks returns how far nasal of the middle the upper rim is highest and the lower one lowest on the globe, mm.
func (l *loop) peaks(g *ground) (top, bottom float64) {
	best := [2]float64{math.Inf(-1), math.Inf(-1)}
	for k := range 121 {
		az := -0.6 + 1.2*float64(k)/120
		for i, el := range [2]float64{l.chord(az) + l.up*l.top.at(az), l.chord(az) - l.down*l.bottom.at(az)} {
			u := direction(az, el)
			v := u.Mul(g.globe.at(u))
			if i == 0 && v.Y > best[0] {
				best[0], top = v.Y, v.X
			} else if i == 1 && -v.Y > best[1] {
				best[1], bottom = -v.Y, v.X
			}
		}
	}
	return
}

// chord is the elevation of the line between the corners.
func (l *loop) chord(az float64) float64 {
	return l.low + (l.high-l.low)*(az-l.outer)/(l.inner-l.outer)
}

// at returns the azimuth and the elevation at the angle tau round the loop, 0 at the inner corner, pi at the outer one, the
// upper lid between them, and half of the opening's height there, all in radians.
func (l *loop) at(tau float64) (az, el, half float64) {
	c := (1 + math.Cos(tau)) / 2
	az = l.outer + c*(l.inner-l.outer)
	so, si := max(0, az-l.outer), max(0, l.inner-az)
	up := l.chord(az) + l.up*l.top.at(az)
	low := l.chord(az) - l.down*l.bottom.at(az)
	mid := (up + low) / 2
	half = smoothMax((up-low)/2, l.least*4*c*(1-c), l.least/2)
	// A blink: the upper lid comes down, the lower one up by a tenth of the opening; what is left is a slit without round tips.
	open := 1 - l.blink
	half = math.Sqrt(half*half + open*(l.outerRound*so*bell(so/l.outerFade)+l.innerRound*si*bell(si/l.innerFade)))
	slit := l.blink * l.slit * min(1, math.Sqrt(min(so, si)/(2*l.slit)))
	low = mid - half + 0.2*half*l.blink - slit
	half = half*open + slit
	if tau < math.Pi {
		return az, low + 2*half, half
	}
	return az, low, half
}

// direction is the unit vector at an azimuth and an elevation.
func direction(az, el float64) geom.Vec {
	sa, ca := math.Sincos(az)
	se, ce := math.Sincos(el)
	return geom.Vec{X: sa * ce, Y: se, Z: ca * ce}
}
