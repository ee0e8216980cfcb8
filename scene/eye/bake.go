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

func newCanvas(e *Eye, n int, zoom float64, keep Keep) *canvas {
	c, ir := e.chart, e.iris
	return &canvas{c: c, ir: ir, w: newWhite(&e.Params, c, e.nets, n, zoom, keep), n: n, zoom: zoom,
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
