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
	c     *chart
	ir    *iris
	w     *white
	n     int
	zoom  float64 // share of the texture plane's side that the map shows: 1, or less for the iris apart
	limb  *limb
	edges []edge // how white and iris meet, by equal steps of the clock from +X
	sub   int    // places a side that a texel of the iris takes the mean of, where the map is coarser than the baked iris
}

func newCanvas(e *Eye, n int, zoom float64, keep Keep) *canvas {
	c, ir := e.chart, e.iris
	p := &e.Params
	step, gain := &plainLimbus, 0.0
	for i := range p.Paint {
		if l := &p.Paint[i]; l.Kind == "limbus" && p.gain(l) != 0 {
			step, gain = l, p.gain(l)
			break
		}
	}
	b := newLimb(p, ir, c)
	edges := make([]edge, 1024)
	for i := range edges {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(len(edges)))
		edges[i] = b.edge(step, gain, ir.rimSeed, cos, sin)
	}
	return &canvas{limb: b, edges: edges, c: c, ir: ir, w: newWhite(&e.Params, c, e.nets, n, zoom, keep), n: n, zoom: zoom,
		sub: max(1, min(8, int(ir.tissue.ppm*zoom/(c.perMM*float64(n))+0.5)))}
}

// edge returns the step in the direction (cx, cy).
func (k *canvas) edge(cx, cy float64) edge {
	n := len(k.edges)
	x := (math.Atan2(cy, cx)/(2*math.Pi) + 1) * float64(n)
	i := int(x)
	t, a, b := x-float64(i), k.edges[i%n], k.edges[(i+1)%n]
	return edge{a.start + t*(b.start-a.start), a.end + t*(b.end-a.end)}
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
	cx, cy := 1.0, 0.0
	if rho > 0 {
		cx, cy = u/rho, v/rho
	}
	var share colour.RGB // of the white
	lift := colour.Grey(1)
	if rho >= k.limb.start {
		h := k.limb.at(rho)
		share, lift = k.edge(cx, cy).share(h), k.limb.lift(h, cy)
	}
	if share[1] < 1 {
		for j := range k.sub {
			for i := range k.sub {
				du, dv := k.zoom*((float64(i)+0.5)/float64(k.sub)-0.5)/float64(k.n), k.zoom*((float64(j)+0.5)/float64(k.sub)-0.5)/float64(k.n)
				x, y := drawnIn((u+du)/k.c.perMM, (v+dv)/k.c.perMM, k.ir.root)
				a = a.Add(k.ir.tissue.albedo(x, y))
			}
		}
		a = a.Scale(1 / float64(k.sub*k.sub))
		if fade := geom.Smoothstep(0.4, 0.95, share[1]); fade > 0 {
			a = colour.Lerp(a, k.ir.tissue.rim(math.Atan2(cy, cx)), fade)
		}
	}
	if share[2] > 0 {
		sin, cos := k.c.polar(min(rho, 0.4999))
		var b colour.RGB
		b, vessels = k.w.colour(fx, fy, math.Atan2(sin, cos), cx, cy)
		for i, s := range share {
			// What light crosses more and more of takes away from it by shares: the inner half of the step is the iris, darkened, and no grey.
			q := min(0.9, b[i]*lift[i])
			if s < 1 {
				q *= math.Pow(a[i]/q, 1-s)
			}
			a[i] = q
			vessels[i] = 1 + share[1]*(vessels[i]-1)
		}
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

// tissueDensity returns the pixels per mm at which the iris is baked: those of the map, but enough for the mesh, and
// not more than strands a few hundredths of a mm wide need.
func tissueDensity(p *Params, c *chart) float64 {
	return min(180, max(c.perMM*float64(p.MapSize), min(88, 17.6/p.MeshDetail)))
}

// drawnIn returns the point of the baked iris whose colour a point of its plane has. Fibres end at the root; what lies further
// out, under the white that grows over it, is drawn out of their last 0.25 mm, more and more.
func drawnIn(x, y, root float64) (float64, float64) {
	const soft = 0.25
	d := math.Hypot(x, y)
	if d <= root-soft {
		return x, y
	}
	k := (root - soft*math.Exp(-(d-root+soft)/soft)) / d
	return x * k, y * k
}
