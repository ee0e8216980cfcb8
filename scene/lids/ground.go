package lids

import (
	"math"

	"catchlight/scene/geom"
)

// ground is the surface that skin rests on, over (x, y) of a right eye's socket: the globe, joined with the face behind.
type ground struct {
	globe *globe
	far   float64 // x of the plane half-way between the eyes
}

// face returns z of the face's ground: low at the outer corner and the temple, rising to nose, brow and cheek.
// Common practice, no published source.
func (g *ground) face(x, y float64) float64 {
	z := 3.4 + 2.1*math.Tanh(x/21)
	if x < -14 {
		z -= (x + 14) * (x + 14) / 90
	}
	z += g.nose(x, y)
	// The brow arches over the outer third and is lower and flatter toward the nose.
	b := y - 19.5 - 3*bell((x+9)/14)
	if b < 0 {
		b /= 9.5
	} else {
		b /= 26
	}
	z += 8.8 * math.Exp(-b*b) * (1 - 0.25*geom.Smoothstep(-12, -34, x)) * (1 - 0.4*geom.Smoothstep(10, 30, x))
	z += 1.3 * geom.Smoothstep(3, 12, y)
	z += (3.4*(1-geom.Smoothstep(-17, 2, y)) + 1.4*(1-geom.Smoothstep(-34, -14, y))) * (1 - 0.6*geom.Smoothstep(-12, -36, x))
	return z
}

// at returns z of the ground, or of the skin that lies thick mm above it.
func (g *ground) at(x, y, thick float64) float64 {
	k := 3.5
	if thick > 0 {
		k = 10 + 6*geom.Smoothstep(0, 8, y) // fat and skin even out what is beneath, above most
	}
	return smoothMax(g.globe.height(x, y, thick), g.face(x, y)+thick, k)
}

// point returns the point of the ground, or of the skin thick mm above it, over (x, y).
func (g *ground) point(x, y, thick float64) geom.Vec {
	return geom.Vec{X: x, Y: y, Z: g.at(x, y, thick)}
}

// normal returns the unit normal there, evened out over h mm to each side.
func (g *ground) normal(x, y, thick, h float64) geom.Vec {
	dx := (g.at(x+h, y, thick) - g.at(x-h, y, thick)) / (2 * h)
	dy := (g.at(x, y+h, thick) - g.at(x, y-h, thick)) / (2 * h)
	return geom.Vec{X: -dx, Y: -dy, Z: 1}.Unit()
}

// smoothMax returns the larger of a and b where they are k apart, and blends them where they are nearer; it is never
// less than either, and its curvature has no steps.
func smoothMax(a, b, k float64) float64 {
	h := max(0, k-math.Abs(a-b)) / k
	return max(a, b) + h*h*h*k/6
}
