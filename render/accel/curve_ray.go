package accel

import (
	"math"
	"math/bits"

	"catchlight/scene/geom"
)

// CurveHit is where a ray meets a hair.
type CurveHit struct {
	T    float64 // the point is o + T d
	U    float64 // along the hair: 0 at the root, 1 at the tip
	H    float64 // sine of the place around it, from -1 to 1: right of the ray's view with the tip up is positive
	Hair uint32
	Cone uint32 // its first knot
}

// Past makes the rays cast with this working space pass hair i of c from now on, or with nil none: rays that leave a hair do not
// meet it again.
func (s *Scratch) Past(c *Curves, i uint32) {
	if c != nil {
		c = c.Base()
	}
	if s.past != c { // the test saves the garbage collector's write barrier
		s.past = c
	}
	s.pastHair = i
}

// Closest finds the first hair that the ray o + t d enters at a t in (tmin, tmax) and reports whether there is one. Rays that start in a
// hair do not enter it. d need not have length 1. Where nothing is met, *h is as it was. It does not allocate.
//
// A hair that is traced wider than it is stands for the true one that is moved aside by chance, by up to as much as it is wider,
// so that its mean cover is kept. A hash of the ray says by how much, for all hairs alike, so that the same ray always sees the
// same, and hairs side by side cover what they cover in truth. U and H are places of the true hair, and it is as deep along the ray.
func (c *Curves) Closest(s *Scratch, o, d geom.Vec, tmin, tmax float64, h *CurveHit) bool {
	return c.ray(s, o, d, tmin, tmax, h, false)
}

// Occluded reports whether the ray enters any hair; see Closest.
func (c *Curves) Occluded(s *Scratch, o, d geom.Vec, tmin, tmax float64) bool {
	var h CurveHit
	return c.ray(s, o, d, tmin, tmax, &h, true)
}

// ray looks at the hulls that the ray meets one by one. A hull's faces are met on the way in and out. One that the ray starts in is left
// within back, so at least so far is looked, even if a hair is met before or the ray ends there.
func (c *Curves) ray(s *Scratch, o, d geom.Vec, tmin, tmax float64, h *CurveHit, any bool) bool {
	long := d.Len()
	if !(long > minDirection && long <= math.MaxFloat64) {
		return false
	}
	tmin = max(tmin, 0)
	start := o
	if tmin > 0 {
		start = o.Mad(tmin, d)
	}
	leave := c.back / long
	// In double precision and from the caller's start; in lengths, as the direction's is 1.
	unit := d.Mul(1 / long)
	lo, hi := tmin*long, tmax*long
	least := 2e-7 * c.hull.box.Size().MaxAbs() / long // what single precision tells apart
	var hit Hit
	aside := math.NaN()
	seen := [4]uint32{noRef, noRef, noRef, noRef}
	n, last, found := 0, uint32(noRef), false
	step := least
	for t, end := 0.0, max(tmax-tmin, leave); t < end && c.hull.Closest(s, start, d, t, end, &hit); {
		// The next search begins behind this face. Distances are in single precision, so it may come once more: then a longer step.
		if hit.Prim == last {
			step *= 2
		} else {
			step = least
		}
		last = hit.Prim
		t = max(t, hit.T) + step
		part := c.of[hit.Prim] &^ bothParts
		for k := range 1 + c.of[hit.Prim]>>31 {
			p := part - k
			if p == seen[0] || p == seen[1] || p == seen[2] || p == seen[3] {
				continue
			}
			seen[n&3] = p
			n++
			if !c.meets(s, p, o, d, unit, &aside, lo, &hi, h) {
				continue
			}
			if any {
				return true
			}
			found = true
			h.T = min(max(hi/long, tmin), tmax)
			end = max(hi/long-tmin, leave)
		}
	}
	return found
}

// meets looks at a hull's cones, unless its hair is passed. unit is along d; aside is where true hairs are once that is needed.
func (c *Curves) meets(s *Scratch, part uint32, o, d, unit geom.Vec, aside *float64, lo float64, hi *float64, h *CurveHit) bool {
	q := &c.parts[part]
	if s.pastHair == q.hair && s.past == c.Base() {
		return false
	}
	if c.thin && *aside != *aside {
		*aside = sideOf(o, d)
	}
	return c.part(q, o, unit, *aside, lo, hi, h)
}

// part looks at the cones of a hull for one that the ray enters in (lo, hi), and takes the first: hi is then where. aside in (-1, 1)
// is how far true hairs are moved across wider ones, of the way that there is.
func (c *Curves) part(q *curvePart, o, d geom.Vec, aside, lo float64, hi *float64, h *CurveHit) bool {
	found := false
	for i := q.from; i < q.to; i++ {
		a, b := &c.knots[i], &c.knots[i+1]
		t, s, mid, ok := cone(a, b, o, d)
		if !ok {
			continue
		}
		across := beside(a, b, s, o, d)
		if share := float64(a.share) + s*(float64(b.share)-float64(a.share)); share < 1 {
			if s <= 0 && a.u == 0 && past(b, a, share, o.Mad(mid, d)) || s >= 1 && b.u == 1 && past(a, b, share, o.Mad(mid, d)) {
				continue
			}
			off := across - aside*(1-share)
			if math.Abs(off) >= share {
				continue
			}
			// As deep as the true hair is here; rays along it go no deeper than those that are inclined by 75 degrees.
			half := min((mid-t)/math.Sqrt(max(1e-9, 1-across*across)), 4*(float64(a.r)+s*(float64(b.r)-float64(a.r))))
			across = off / share
			t = max(t, mid-share*half*math.Sqrt(1-across*across))
		}
		if !(t > lo && t < *hi) {
			continue
		}
		*hi, found = t, true
		h.Hair, h.Cone = q.hair, i
		h.U = float64(a.u) + s*(float64(b.u)-float64(a.u))
		h.H = across
	}
	return found
}

// past reports whether p lies beyond the end b of a cone from a, by more than the true hair's end does.
func past(a, b *curveKnot, share float64, p geom.Vec) bool {
	v := b.vec().Sub(a.vec())
	return p.Sub(b.vec()).Dot(v) > share*float64(b.r)*v.Len()
}

// beside returns how far beside the axis of a cone the ray passes, in half widths there.
func beside(a, b *curveKnot, s float64, o, d geom.Vec) float64 {
	p, q := a.vec(), b.vec()
	y := q.Sub(p).Cross(d)
	l := y.Len()
	r := float64(a.r) + s*(float64(b.r)-float64(a.r))
	if !(l > 0 && r > 0) {
		return 0
	}
	return max(-1, min(1, o.Sub(p).Dot(y)/(l*r)))
}

// sideOf is a number in (-1, 1) from the bits of a ray, more often near 0: the sum of two even ones.
//
// Source of the mixing: Steele, Lea and Flood, Fast Splittable Pseudorandom Number Generators, OOPSLA 2014.
func sideOf(o, d geom.Vec) float64 {
	k := uint64(0x9e3779b97f4a7c15)
	for _, x := range [6]float64{o.X, o.Y, o.Z, d.X, d.Y, d.Z} {
		k = bits.RotateLeft64(k^math.Float64bits(x), 29) * 0xd6e8feb86659fd93
	}
	k = (k ^ k>>30) * 0xbf58476d1ce4e5b9
	k = (k ^ k>>27) * 0x94d049bb133111eb
	k ^= k >> 31
	return (float64(k>>32)+float64(k&math.MaxUint32)+1)/(1<<32) - 1
}
