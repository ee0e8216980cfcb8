package pathtrace

import (
	"math"

	"catchlight/render/frozen"
	"catchlight/render/invariant"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// aim sets the odds of the kinds of walks from what is known where one comes in: the normal n there, in the world, how light
// falls on such normals, and the radius of a ball in which the first flight would be as long to the far side. up is the way
// out in the frame of the walk, toLocal goes there from the world (nil: it is the world). Whatever it sets changes no mean.
//
// All costs are squared contributions per walk, as shares of what falls on the best lit normal:
//
//	near     of the lamp's light that falls close by; walks that seek the way out gain from it
//	across   the share of near that they gain from: 1 where light fades inward faster than along the surface, else less
//	rest     of light from elsewhere close by; walks that seek the way out gain from it, walks that seek the lamp lose it
//	through  of light by rare long ways, around the object or through it; only plain walks find it
//
// What few walks find has a variance of its cost over their odds. The odds that make the sum least have a closed form. The constants are fitted to balls with radii of 0.6 to 15 lengths of diffusion under a lamp from the side,
// with a sky of 0, 0.01 and 0.1: nowhere is the variance much above that of plain walks.
func (f *flight) aim(n, up geom.Vec, l frozen.LitCell, toLocal *geom.Affine, half float64, sigma *colour.RGB, g *frozen.Guide) {
	f.half = half
	f.way = [2]geom.Vec{up, l.Way}
	if toLocal != nil && l.Way != (geom.Vec{}) {
		f.way[1] = toLocal.Vector(l.Way).Unit()
	}
	length := 0.0 // of diffusion, the longest
	for c, nu := range g.Nu {
		length = max(length, nu/sigma[c])
	}
	x := max(1e-6, half/length)
	through := 0.1 / (1 + x*x) * math.Exp(-3*x)
	if down := -n.Dot(l.Way); down > 0 { // the lamp is below the horizon: around the object, or straight through
		through = 0.04 * l.Net * l.Net / (1 + x*x) * math.Exp(-0.9*x*math.Asin(min(1, down)))
	}
	// Close to the terminator the gradient along the surface, of the cosine over itself, beats that across it, one over the
	// length of diffusion.
	lamp := l.Share - l.Rest
	across := l.Share / (l.Share + math.Sqrt(max(0, 1-l.Share*l.Share))/x + 1e-9)
	rest, near := l.Rest*l.Rest, lamp*lamp
	const guided = 1 - leastPlain
	f.odds = [3]float64{}
	if v := rest + near*across; v > 0 {
		f.odds[1] = guided * max(0, 1-math.Sqrt(through/(0.06*v)))
	}
	if l.Way != (geom.Vec{}) {
		r := math.Sqrt(2 * (0.2*through + near + 1e-30) / (0.9*rest + 1e-31))
		f.odds[2] = (guided - f.odds[1]) * max(0, (r-1)/(r+2))
	}
	for i := range f.way { // what is hardly worth its time
		if f.odds[i+1] < 0.05 {
			f.odds[i+1] = 0
		}
	}
	f.odds[0] = 1 - f.odds[1] - f.odds[2]
	invariant.Share("plain walks", f.odds[0])
}

// leastPlain is the least share of plain walks, for light that is not what the table says: in shadows, through holes. Walks
// weigh at most 1/leastPlain times as much as plain ones.
const leastPlain = 0.15

// steer sets the zone that the next flight is in; a nil guide makes it plain. An object that is not deep is left by all its
// sides: the way out is sought as much less as the gradient of the slowest mode is less in a ball of that radius than
// below a plane, coth(x) - 1/x at a radius of x lengths of diffusion.
func (f *flight) steer(sigma *colour.RGB, g *frozen.Guide) {
	f.sigma, f.guide = sigma, g
	if g == nil || g == f.from {
		return
	}
	f.from = g
	f.guides = [2]frozen.Guide{*g, *g}
	for c, nu := range g.Nu {
		x := max(1e-3, f.half*sigma[c]/nu)
		if x > 20 {
			continue
		}
		nu /= 1/math.Tanh(x) - 1/x
		f.guides[0].Nu[c] = nu
		f.guides[0].Log[c] = math.Log((nu + 1) / (nu - 1))
	}
}
