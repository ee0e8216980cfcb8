package eye

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
	"catchlight/scene/texture"
)

// canvas paints the inner shell's albedo over a map of n by n texels: iris, white, and the blend between.
type canvas struct {
	c    *chart
	ir   *iris
	w    *white
	n    int
	zoom float64 // share of the texture plane's side that the map shows: 1, or less for the iris apart
	sub  int     // places a side that a texel of the iris takes the mean of, where the map is coarser than the baked iris
}

func newCanvas(p *Params, c *chart, ir *iris, vs *veins, n int, zoom float64) *canvas {
	return &canvas{c: c, ir: ir, w: newWhite(p, c, vs, n, zoom), n: n, zoom: zoom,
		sub: max(1, min(8, int(ir.tissue.ppm*zoom/(c.perMM*float64(n))+0.5)))}
}

// place returns a texel's place in the texture plane from its middle, v up.
func (k *canvas) place(x, y int) (u, v float64) {
	return k.zoom * ((float64(x)+0.5)/float64(k.n) - 0.5), k.zoom * (0.5 - (float64(y)+0.5)/float64(k.n))
}

// texel returns the albedo, and the share of light that the shallow vessels let pass on one crossing: they lie on top of
// the scattering white, which is why they are sharp.
func (k *canvas) texel(x, y int) (a, vessels colour.RGB) {
	u, v := k.place(x, y)
	return k.at(u, v, float64(x), float64(y))
}

// at is texel for any place (u, v) of the texture plane, which lies fx and fy texels from the middle of the first one.
func (k *canvas) at(u, v, fx, fy float64) (a, vessels colour.RGB) {
	rho := math.Hypot(u, v)
	vessels = colour.Grey(1)
	share := 1.0
	if rho <= k.c.share*1.2 {
		share = k.ir.white(u, v, rho/k.c.perMM)
	}
	if share < 1 {
		for j := range k.sub {
			for i := range k.sub {
				du, dv := k.zoom*((float64(i)+0.5)/float64(k.sub)-0.5)/float64(k.n), k.zoom*((float64(j)+0.5)/float64(k.sub)-0.5)/float64(k.n)
				a = a.Add(k.ir.tissue.albedo(clampDisc((u+du)/k.c.perMM, (v+dv)/k.c.perMM, k.ir.root+0.08)))
			}
		}
		a = a.Scale(1 / float64(k.sub*k.sub))
	}
	if share > 0 {
		sin, cos := k.c.polar(min(rho, 0.4999))
		cx, cy := 1.0, 0.0
		if rho > 0 {
			cx, cy = u/rho, v/rho
		}
		var b colour.RGB
		b, vessels = k.w.colour(fx, fy, math.Atan2(sin, cos), cx, cy)
		a = colour.Lerp(a, b, share)
	}
	return a, vessels
}

// paint bakes the whole map.
func (k *canvas) paint() (albedo, vessels *texture.Image) {
	n := k.n
	pix, over := make([]float32, n*n*3), make([]float32, n*n*3)
	parallel.Runs(n, 8, func(y0, y1 int) {
		for at := 3 * y0 * n; at < 3*y1*n; at += 3 {
			a, f := k.texel(at/3%n, at/3/n)
			for i := range 3 {
				pix[at+i], over[at+i] = float32(a[i]), float32(f[i])
			}
		}
	})
	return texture.NewImage(n, n, 3, pix), texture.NewImage(n, n, 3, over)
}

// white returns the share of the sclera at half chord r mm in the direction of (u, v). The edge of the iris is no circle:
// the sclera reaches in above and below, where the blend is wider too, and wanders a little round the clock.
func (ir *iris) white(u, v, r float64) float64 {
	l := math.Hypot(u, v)
	if l == 0 {
		return 0
	}
	cx, cy := u/l, v/l
	in := 0.24*cy*cy + 0.10*noise3(ir.rimSeed, 1.7*cx, 1.7*cy, 0.5) + 0.05*noise3(ir.rimSeed+1, 6*cx, 6*cy, 0.5) + 0.03*noise3(ir.rimSeed+2, 17*cx, 17*cy, 0.5)
	soft := 0.9 + 0.4*cy*cy + 0.3*noise3(ir.rimSeed+3, 2.3*cx, 2.3*cy, 0.5)
	r0, r1 := ir.root-0.2, 0.15*ir.root+0.85*ir.lip
	mid, half := (r0+r1)/2-in, (r1-r0)/2*soft
	return geom.Smoothstep(mid-half, mid+half, r)
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

func newWhite(p *Params, c *chart, vs *veins, size int, zoom float64) *white {
	w := &white{p: p, veins: vs, limbus: math.Asin(p.LimbusRadius / p.GlobeRadius), n: (size+coarse-1)/coarse + 1}
	w.base = make([]colour.RGB, w.n*w.n)
	parallel.Runs(w.n, 8, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range w.n {
				u, v := zoom*((float64(i*coarse)+0.5)/float64(size)-0.5), zoom*(0.5-(float64(j*coarse)+0.5)/float64(size))
				rho := math.Sqrt(u*u + v*v)
				sin, cos := c.polar(min(rho, 0.4999))
				cx, cy := 1.0, 0.0
				if rho > 0 {
					cx, cy = u/rho, v/rho
				}
				w.base[j*w.n+i] = w.tissue(math.Atan2(sin, cos), cx, cy, geom.Vec{X: sin * cx, Y: sin * cy, Z: cos})
			}
		}
	})
	return w
}

// tissue returns the albedo between vessels at polar angle phi in direction d (unit; cx and cy are its unit direction
// about the axis).
func (w *white) tissue(phi, cx, cy float64, d geom.Vec) colour.RGB {
	p := w.p
	q := d.Mul(p.GlobeRadius)
	out := (phi - w.limbus) / (geom.Radians(75) - w.limbus) // 0 at the limbus, 1 well back
	rim := geom.Smoothstep(0.05, 1, out)
	corner := math.Abs(cx) * rim
	// Behind the vessels the colour runs out into one, so that the rim of the map has no seam.
	even := 1 - geom.Smoothstep(geom.Radians(105), geom.Radians(150), phi)
	corner = 0.5 + (corner-0.5)*even
	uneven := p.Mottling * (1 - 0.7*p.Generic) * even
	low := uneven * fbm3(p.Seed^0xb1, 0.16*q.X, 0.16*q.Y, 0.16*q.Z, 4)
	mid := uneven * fbm3(p.Seed^0xb2, 0.45*q.X, 0.45*q.Y, 0.45*q.Z, 4)
	fine := uneven * fbm3(p.Seed^0xb3, 1.7*q.X, 1.7*q.Y, 1.7*q.Z, 3)
	a := p.ScleraColour
	// Warmer and redder toward the rim and the corners, most toward the nose.
	nose := 0.25 * even * max(0, cx*p.nasal()) * rim
	red := p.Redness * max(0, 0.5*rim+0.5*corner+nose) * max(0, 1+0.9*low+0.5*mid)
	a = a.Mul(colour.RGB{1 - 0.04*red, 1 - 0.27*red, 1 - 0.25*red})
	_, _, flush := w.veins.at(phi, cx, cy)
	pink := min(1, 0.55*flush*p.Veins*(1-0.6*p.Generic))
	a = a.Mul(colour.RGB{1 - 0.02*pink, 1 - 0.24*pink, 1 - 0.22*pink})
	// Yellowish fatty patches, most in the gap between the lids beside the limbus; grey thin ones.
	gap := math.Exp(-cy*cy/0.08) * math.Exp(-(out-0.22)*(out-0.22)/0.03) * (0.75 + 0.25*cx*p.nasal())
	fat := max(0, mid+0.4*low)*(0.5+0.2*rim) + 0.55*uneven*gap*(0.6+mid)
	fat = max(0, fat)
	a = a.Mul(colour.RGB{1 - 0.01*fat, 1 - 0.05*fat, 1 - 0.17*fat})
	thin := max(0, -mid-0.3*low) * (1 - 0.4*rim)
	a = a.Mul(colour.RGB{1 - 0.20*thin, 1 - 0.16*thin, 1 - 0.10*thin})
	a = a.Scale(1 + 0.07*low + 0.05*mid + 0.035*fine)
	// Cooler and greyer beside the limbus, where the tissue is thin: wider above and below, and never quite even.
	reach := 0.09 * (1 + 0.5*cy*cy) * (1 + 0.35*noise3(p.Seed^0xb4, 2*cx, 2*cy, 0.5))
	near := math.Exp(-max(0, phi-w.limbus) / reach)
	a = a.Mul(colour.RGB{1 - 0.30*near, 1 - 0.25*near, 1 - 0.19*near})
	for i := range a {
		a[i] = min(0.95, a[i])
	}
	return a
}

// colour returns the albedo x and y texels from the middle of the first one, which lies at polar angle phi in the direction (cx, cy) about the axis,
// and what the vessels on top let pass on one crossing.
func (w *white) colour(x, y float64, phi, cx, cy float64) (a, vessels colour.RGB) {
	i, j := min(w.n-2, int(max(0, x)/coarse)), min(w.n-2, int(max(0, y)/coarse))
	tx, ty := max(0, x)/coarse-float64(i), max(0, y)/coarse-float64(j)
	at := j*w.n + i
	a = colour.Lerp(colour.Lerp(w.base[at], w.base[at+1], tx), colour.Lerp(w.base[at+w.n], w.base[at+w.n+1], tx), ty)
	shallow, deep, _ := w.veins.at(phi, cx, cy)
	k := w.p.Veins * (1 - 0.75*w.p.Generic)
	return w.bleed(a, k*shallow, k*deep)
}

// bleed lays vessels of the given densities over and into the albedo a.
func (w *white) bleed(a colour.RGB, shallow, deep float64) (under, vessels colour.RGB) {
	vessels = colour.Grey(1)
	if shallow > 0 {
		// A thin layer of blood takes blue and green, hardly red.
		for i, k := range [3]float64{0.20, 0.95, 0.85} {
			vessels[i] = math.Exp(-1.15 * k * min(shallow, 1.5))
		}
	}
	if deep > 0 {
		for i, k := range [3]float64{0.40, 0.52, 0.34} {
			a[i] *= math.Exp(-0.8 * k * min(deep, 1.6))
		}
	}
	for i := range a {
		a[i] = max(0.05, min(a[i], 0.95))
	}
	return a, vessels
}
