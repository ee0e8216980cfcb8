package raster

import (
	"math"

	"catchlight/render/frozen"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// eyeball stands for an eye where it is mirrored by a plain object beside it, or hides the surroundings from that: a sphere as large as the
// mean of its outer shell behind the front.
type eyeball struct {
	centre geom.Vec // in the world, mm
	radius float64
	eye    int
}

// findBalls lists the eyes that cameras see.
func (k *Look) findBalls() {
	for i := range k.scene.Eyes {
		b := &k.scene.Objects[k.scene.Eyes[i].Outer]
		if b.Mask&frozen.CameraRays == 0 {
			continue
		}
		sum, n := 0.0, 0.0
		for _, p := range b.Mesh.P {
			if p.Z < 0 {
				sum, n = sum+p.Len(), n+1
			}
		}
		if n > 0 {
			k.balls = append(k.balls, eyeball{b.ToWorld.T, b.Scale * sum / n, i})
		}
	}
}

// hides returns the share of the cosine-weighted hemisphere about n at p that the ball takes: its part above the horizon.
//
// Source: the configuration factor from a surface element to a sphere, all of it above the horizon or cut by it: Howell, A Catalog of
// Radiation Heat Transfer Configuration Factors, B-43 and B-44; from memory, checked against a numerical integral.
func (b *eyeball) hides(p, n geom.Vec) float64 {
	v := b.centre.Sub(p)
	l := v.Len()
	h := l / b.radius
	if h <= 1.0005 {
		h = 1.0005
	}
	c, h2 := v.Dot(n)/l, h*h
	cut := 1 - h2*c*c
	if cut <= 0 {
		return max(0, c) / h2
	}
	s := math.Sqrt(max(1e-12, 1-c*c))
	q := math.Sqrt(h2 - 1)
	out := (c*math.Acos(max(-1, min(1, -c*q/s)))-math.Sqrt(cut)*q/1)/h2 + math.Atan(math.Sqrt(cut)/q)
	return max(0, out/math.Pi)
}

// beneath returns what is left of the surroundings' irradiance e on a plain object at p, whose normal is n: past the eyes, which send back some
// of what falls on them from the side of p.
func (k *Look) beneath(p, n geom.Vec, e colour.RGB) colour.RGB {
	for i := range k.balls {
		b := &k.balls[i]
		w := b.hides(p, n)
		back := k.ambient.Irradiance(p.Sub(b.centre).Unit())
		e = e.Scale(1 - w).Add(back.Scale(w * eyeWhite))
	}
	return e
}

// eyeWhite is the reflectance of an eye's white, roughly; half of what falls on its side toward an object beneath is that object's shadow.
const eyeWhite = 0.3

// reflected returns the light of the eye that a plain object at p mirrors along r, and the share of the mirrored cone, alpha wide, that it
// fills.
//
// Spheres in place of what is mirrored: common practice, no published source.
func (k *frame) reflected(p, r geom.Vec, alpha float64) (l colour.RGB, share float64) {
	for i := range k.balls {
		b := &k.balls[i]
		v := b.centre.Sub(p)
		t := v.Dot(r)
		if t <= 0 {
			continue
		}
		miss := v.Mad(-t, r).Len()
		soft := b.radius*0.01 + 2*alpha*t
		s := geom.Smoothstep(b.radius+soft, b.radius-soft, miss)
		if s == 0 {
			continue
		}
		// Where the ray meets the ball, or passes it most nearly.
		at := p.Mad(t-math.Sqrt(max(0, b.radius*b.radius-miss*miss)), r)
		n := at.Sub(b.centre).Unit()
		y := k.eyes[b.eye]
		if y == nil {
			continue
		}
		local := y.object.ToLocal.Point(b.centre.Mad(b.radius, n))
		f := fragment{sf: frozen.Surface{P: b.centre.Mad(b.radius, n), Ng: n, Ns: n}}
		c := k.tissue(y, local, geom.Vec{}, geom.Vec{}).Mul(k.white(y, &f, n, local)).Scale(1 / math.Pi)
		l, share = l.Scale(1-s).Add(c.Scale(s)), share+s*(1-share)
	}
	return l, share
}
