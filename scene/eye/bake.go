package eye

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// bakeColour paints the inner shell's albedo over its map: iris, white, and the blend between. The second picture is
// the share of light that the shallow vessels let pass on one crossing: they lie on top of the scattering white, which
// is why they are sharp.
func bakeColour(p *Params, c *chart, ir *iris, vs *veins) (albedo, film *texture.Image) {
	n := p.MapSize
	pix, over := make([]float32, n*n*3), make([]float32, n*n*3)
	w := newWhite(p, c, vs, n)
	// Where the map is coarser than the baked iris a texel takes the mean of several places.
	sub := max(1, min(8, int(ir.tissue.ppm/(c.perMM*float64(n))+0.5)))
	parallel(n, 8, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range n {
				u, v := (float64(x)+0.5)/float64(n)-0.5, 0.5-(float64(y)+0.5)/float64(n)
				rho := math.Hypot(u, v)
				r := rho / c.perMM // half chord, inside the limbus
				var a colour.RGB
				f := colour.Grey(1)
				k := 1.0
				if rho <= irisShare*1.2 {
					k = geom.Smoothstep(ir.root-0.2, 0.15*ir.root+0.85*ir.lip, r)
				}
				if k < 1 {
					for j := range sub {
						for i := range sub {
							du, dv := ((float64(i)+0.5)/float64(sub)-0.5)/float64(n), ((float64(j)+0.5)/float64(sub)-0.5)/float64(n)
							a = a.Add(ir.tissue.albedo(clampDisc((u+du)/c.perMM, (v+dv)/c.perMM, ir.root+0.08)))
						}
					}
					a = a.Scale(1 / float64(sub*sub))
				}
				if k > 0 {
					sin, cos := c.polar(min(rho, 0.4999))
					cx, cy := 1.0, 0.0
					if rho > 0 {
						cx, cy = u/rho, v/rho
					}
					var b colour.RGB
					b, f = w.colour(x, y, math.Atan2(sin, cos), cx, cy)
					a = colour.Lerp(a, b, k)
				}
				for i := range 3 {
					pix[(y*n+x)*3+i] = float32(a[i])
					over[(y*n+x)*3+i] = float32(f[i])
				}
			}
		}
	})
	return texture.NewImage(n, n, 3, pix), texture.NewImage(n, n, 3, over)
}

// tissueDensity returns the pixels per mm at which the iris is baked: those of the map, but enough for the mesh, and
// not more than strands a few hundredths of a mm wide need.
func tissueDensity(p *Params, c *chart) float64 {
	return min(180, max(c.perMM*float64(p.MapSize), min(88, 17.6/p.MeshDetail)))
}

// clampDisc moves a point outside the disc of radius r to its edge.
func clampDisc(x, y, r float64) (float64, float64) {
	if d := math.Hypot(x, y); d > r {
		return x * r / d, y * r / d
	}
	return x, y
}

// white is the sclera as seen under diffuse light.
type white struct {
	p      *Params
	veins  *veins
	limbus float64 // polar angle

	// The colour between the vessels is smooth: it is computed at every coarse-th texel and interpolated.
	n    int // nodes a side
	base []colour.RGB
}

const coarse = 4

func newWhite(p *Params, c *chart, vs *veins, size int) *white {
	w := &white{p: p, veins: vs, limbus: math.Asin(p.LimbusRadius / p.GlobeRadius), n: (size+coarse-1)/coarse + 1}
	w.base = make([]colour.RGB, w.n*w.n)
	parallel(w.n, 8, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range w.n {
				u, v := (float64(i*coarse)+0.5)/float64(size)-0.5, 0.5-(float64(j*coarse)+0.5)/float64(size)
				rho := math.Sqrt(u*u + v*v)
				sin, cos := c.polar(min(rho, 0.4999))
				cx, cy := 1.0, 0.0
				if rho > 0 {
					cx, cy = u/rho, v/rho
				}
				w.base[j*w.n+i] = w.tissue(math.Atan2(sin, cos), cx, geom.Vec{X: sin * cx, Y: sin * cy, Z: cos})
			}
		}
	})
	return w
}

// tissue returns the albedo between vessels at polar angle phi in direction d (unit; cx is the x of its unit
// direction about the axis).
func (w *white) tissue(phi, cx float64, d geom.Vec) colour.RGB {
	p := w.p
	q := d.Mul(p.GlobeRadius)
	out := (phi - w.limbus) / (geom.Radians(75) - w.limbus) // 0 at the limbus, 1 well back
	rim := geom.Smoothstep(0.05, 1, out)
	corner := math.Abs(cx) * rim
	// Behind the vessels the colour runs out into one, so that the rim of the map has no seam.
	even := 1 - geom.Smoothstep(geom.Radians(110), geom.Radians(165), phi)
	corner = 0.5 + (corner-0.5)*even
	low := even * fbm3(p.Seed^0xb1, 0.16*q.X, 0.16*q.Y, 0.16*q.Z, 4)
	mid := even * fbm3(p.Seed^0xb2, 0.7*q.X, 0.7*q.Y, 0.7*q.Z, 4)
	a := p.ScleraColour
	// Warmer and redder toward the rim and the corners.
	red := p.Redness * (0.55*rim + 0.45*corner) * (1 + 0.7*low)
	a = a.Mul(colour.RGB{1 - 0.03*red, 1 - 0.26*red, 1 - 0.33*red})
	// Yellowish fatty patches and grey thin ones.
	fat := max(0, mid+0.25*low) * (0.35 + 0.65*rim)
	a = a.Mul(colour.RGB{1, 1 - 0.05*fat, 1 - 0.20*fat})
	a = a.Scale(1 + 0.05*low + 0.04*mid)
	// Cooler and greyer beside the limbus, where the tissue is thin.
	near := math.Exp(-max(0, phi-w.limbus) / 0.09)
	return a.Mul(colour.RGB{1 - 0.30*near, 1 - 0.25*near, 1 - 0.19*near})
}

// colour returns the albedo of texel (x, y), which lies at polar angle phi in the direction (cx, cy) about the axis,
// and what the vessels on top let pass on one crossing.
func (w *white) colour(x, y int, phi, cx, cy float64) (a, film colour.RGB) {
	i, j := x/coarse, y/coarse
	tx, ty := float64(x%coarse)/coarse, float64(y%coarse)/coarse
	at := j*w.n + i
	a = colour.Lerp(colour.Lerp(w.base[at], w.base[at+1], tx), colour.Lerp(w.base[at+w.n], w.base[at+w.n+1], tx), ty)
	shallow, deep := w.veins.at(phi, cx, cy)
	shallow, deep = shallow*w.p.Veins, deep*w.p.Veins
	film = colour.Grey(1)
	if shallow > 0 {
		// A thin film of blood takes blue and green, hardly red.
		for i, k := range [3]float64{0.22, 0.95, 0.85} {
			film[i] = math.Exp(-2.6 * k * min(shallow, 1.2))
		}
	}
	if deep > 0 {
		for i, k := range [3]float64{0.40, 0.52, 0.36} {
			a[i] *= math.Exp(-1.5 * k * min(deep, 1.5))
		}
	}
	for i := range a {
		a[i] = max(0.05, min(a[i], 0.95))
	}
	return a, film
}
