package raster

import (
	"context"
	"math"

	"catchlight/material/tissue"
	"catchlight/render/frozen"
	"catchlight/render/raster/shading"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// spreadOf returns how light spreads in a zone of an eye, of extinction sigma, in mm of the world; in tells the zone's directions.
func spreadOf(e *frozen.Eye, sigma colour.RGB, scale float64, in func(zone float64) bool) (out [3]shading.Spread) {
	reach := 2 * e.LimbusRadius // about the globe's radius
	alpha := e.Tissue.Alpha.Mean(func(d geom.Vec) bool { return d.Z > 0.2 && in(e.TissueZone(d.Mul(reach))) })
	for c := range out {
		out[c] = shading.NewSpread(scale * tissue.ExitRadius50(alpha[c]) / sigma[c])
	}
	return out
}

// fleshSpread is spreadOf for a scattering object.
func fleshSpread(f *frozen.Flesh) (out [3]shading.Spread) {
	for c := range out {
		out[c] = shading.NewSpread(tissue.ExitRadius50(f.Alpha[c]) / f.Sigma[c])
	}
	return out
}

// relief returns the normal n with the fine relief of skin on it as the pixel resolves it, and how its facets lie there: what is finer
// than a pixel goes into their roughness.
func (k *Look) relief(f *fragment, n geom.Vec, g *frozen.Gloss) (geom.Vec, frozen.Face) {
	if !g.Tilt.Varies() {
		return n, g.Face(f.sf.UV, 0)
	}
	count, width, first, step := footprint(f.ux, f.uy, k.set.Anisotropy)
	var slope geom.Vec
	square := 0.0
	for i := range count {
		s, q := g.Slope(geom.UV{U: f.sf.UV.U + first.U + float64(i)*step.U, V: f.sf.UV.V + first.V + float64(i)*step.V}, max(1e-6, width))
		slope, square = slope.Add(s), square+q
	}
	w := 1 / float64(count)
	slope = slope.Mul(w)
	ng, _ := f.facing()
	n = turn(f.wo, ng, g.Bend(&k.scene.Objects[f.sf.Object], n, slope))
	return n, g.Face(f.sf.UV, max(0, square*w-slope.Len2()))
}

// twoLobes returns what skin of normal n mirrors, and the share that it mirrors of all light.
func (k *frame) twoLobes(f *fragment, n geom.Vec, w *frozen.Face, g *frozen.Gloss) (l, response colour.RGB) {
	c := max(0, f.wo.Dot(n))
	for i, alpha := range [2]float64{w.Lobes.A, w.Lobes.B} {
		part := w.Lobes.Part
		if i == 1 {
			part = 1 - part
		}
		r := colour.Grey(w.Oil * part * g.Share(alpha, c))
		l, response = l.Add(k.gloss(f, n, alpha, r)), response.Add(r)
	}
	return l, response
}

// skin is the part of a picture that scatters below its surface: its irradiance waits here to be spread.
type skin struct {
	width, height int
	kernel        []*shading.Kernel // by pixel; nil: none
	owner         []any             // whose tissue it is
	e             [][3]float32      // irradiance
	a             [][3]float32      // what turns it into radiance, coverage included
	p             [][3]float32      // place in the world, mm
	step          [][2]float32      // mm along the surface from one pixel to the next on the right and below
}

func newSkin(w, h int) *skin {
	n := w * h
	return &skin{w, h, make([]*shading.Kernel, n), make([]any, n), make([][3]float32, n), make([][3]float32, n), make([][3]float32, n), make([][2]float32, n)}
}

// add puts scattering light aside. A pixel holds one surface; of a second one only what it sends back counts, as if the first one's
// light fell on it.
func (s *skin) add(i int, q *shaded, f *fragment, a colour.RGB) {
	for c := range a {
		s.a[i][c] += float32(a[c])
	}
	if s.kernel[i] != nil {
		return
	}
	s.kernel[i], s.owner[i] = q.kernel, q.owner
	s.e[i] = [3]float32{float32(q.e[0]), float32(q.e[1]), float32(q.e[2])}
	s.p[i] = [3]float32{float32(f.sf.P.X), float32(f.sf.P.Y), float32(f.sf.P.Z)}
	s.step[i] = [2]float32{float32(f.dx.Len()), float32(f.dy.Len())}
}

// spread blurs the irradiance across, then down, and adds what it gives to the picture.
func (s *skin) spread(ctx context.Context, mean []colour.RGB, workers int) {
	across, down := make([][3]float32, len(s.e)), make([][3]float32, len(s.e))
	parallel.Each(s.height, workers, func(y int) {
		if ctx.Err() == nil {
			s.line(s.e, across, y*s.width, 1, s.width, 0)
		}
	})
	parallel.Each(s.width, workers, func(x int) {
		if ctx.Err() != nil {
			return
		}
		s.line(across, down, x, s.width, s.height, 1)
		for i := x; i < len(mean); i += s.width {
			for c := range 3 {
				mean[i][c] += float64(down[i][c]) * float64(s.a[i][c])
			}
		}
	})
}

// line blurs n pixels of a row (axis 0) or column (axis 1), from first on, stride apart. A tap takes the mean of what lies half way to its
// neighbours, from running sums. Where it lies off the surface, or on one that lies deeper than it is far, the pixel's own light stands in.
//
// Source of the running sums: Crow, Summed-Area Tables for Texture Mapping, SIGGRAPH 1984.
func (s *skin) line(e, out [][3]float32, first, stride, n, axis int) {
	// The line side by side: running sums of irradiance and of pixels that have any, before each pixel.
	sums := make([][4]float64, n+1)
	any := false
	for i := range n {
		v := sums[i]
		if q := first + i*stride; s.kernel[q] != nil {
			c := &e[q]
			v[0], v[1], v[2], v[3] = v[0]+float64(c[0]), v[1]+float64(c[1]), v[2]+float64(c[2]), v[3]+1
			any = true
		}
		sums[i+1] = v
	}
	if !any {
		return
	}
	end := float64(n)
	for i := range n {
		q := first + i*stride
		k := s.kernel[q]
		if k == nil {
			continue
		}
		own := wide(&e[q])
		pixel := float64(s.step[q][axis])
		if pixel <= 0 || pixel > 4*k.Reach {
			out[q] = e[q]
			continue
		}
		middle, scale := float64(i)+0.5, 1/pixel
		var total colour.RGB
		// The sums before a tap's near edge; the outer taps reach as far beyond themselves as half way to the next one in.
		before := s.before(sums, middle+k.Edge(0)*scale, end)
		for j := range k.Len() {
			t := k.Tap(j)
			after := s.before(sums, middle+k.Edge(j+1)*scale, end)
			v := own
			at := first + max(0, min(n-1, i+int(math.Round(t*scale))))*stride
			if far := 2*math.Abs(t) + 2*pixel; s.owner[at] == s.owner[q] && s.apart(at, q) < far*far {
				v = wide(&e[at]) // beyond the picture its edge goes on
				if count := after[3] - before[3]; count > 0 {
					c := 1 / count
					v = colour.RGB{(after[0] - before[0]) * c, (after[1] - before[1]) * c, (after[2] - before[2]) * c}
				}
			}
			w := k.Weight(j)
			total[0], total[1], total[2] = total[0]+v[0]*w[0], total[1]+v[1]*w[1], total[2]+v[2]*w[2]
			before = after
		}
		out[q] = [3]float32{float32(total[0]), float32(total[1]), float32(total[2])}
	}
}

func wide(v *[3]float32) colour.RGB { return colour.RGB{float64(v[0]), float64(v[1]), float64(v[2])} }

// apart returns the square of the distance between what two pixels show, mm^2.
func (s *skin) apart(i, j int) float64 {
	a, b := &s.p[i], &s.p[j]
	x, y, z := a[0]-b[0], a[1]-b[1], a[2]-b[2]
	return float64(x*x + y*y + z*z)
}

// before returns the sums before a place between pixels, in pixels from the first one's edge.
func (*skin) before(sums [][4]float64, x, end float64) [4]float64 {
	x = max(0, min(end, x))
	i := min(int(x), len(sums)-2)
	f := x - float64(i)
	a, b := &sums[i], &sums[i+1]
	return [4]float64{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1]), a[2] + f*(b[2]-a[2]), a[3] + f*(b[3]-a[3])}
}
