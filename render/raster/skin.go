package raster

import (
	"context"
	"math"

	"catchlight/material/tissue"
	"catchlight/render/frozen"
	"catchlight/render/raster/cover"
	"catchlight/render/raster/shading"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
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

// fleshSpread is spreadOf for a scattering body.
func fleshSpread(f *frozen.Flesh) (out [3]shading.Spread) {
	for c := range out {
		out[c] = shading.NewSpread(tissue.ExitRadius50(f.Alpha[c]) / f.Sigma[c])
	}
	return out
}

// skin is the part of a picture that scatters below its surface: its irradiance waits here to be spread.
type skin struct {
	width, height int
	kernel        []*shading.Kernel // by pixel; nil: none
	e             []colour.RGB      // irradiance
	a             []colour.RGB      // what turns it into radiance, coverage included
	p             []geom.Vec        // place in the world, mm
	step          [][2]float32      // mm along the surface from one pixel to the next on the right and below
}

func newSkin(w, h int) *skin {
	return &skin{w, h, make([]*shading.Kernel, w*h), make([]colour.RGB, w*h), make([]colour.RGB, w*h), make([]geom.Vec, w*h), make([][2]float32, w*h)}
}

// add puts scattering light aside. A pixel holds one surface; of a second one only what it sends back counts, as if the first one's
// light fell on it.
func (s *skin) add(i int, k *shading.Kernel, f *fragment, e, a colour.RGB) {
	if s.kernel[i] != nil {
		s.a[i] = s.a[i].Add(a)
		return
	}
	s.kernel[i], s.e[i], s.a[i], s.p[i] = k, e, a, f.sf.P
	s.step[i] = [2]float32{float32(f.dx.Len()), float32(f.dy.Len())}
}

// spread blurs the irradiance across, then down, and adds what it gives to the picture.
func (s *skin) spread(ctx context.Context, mean []colour.RGB, workers int) {
	across := make([]colour.RGB, len(s.e))
	cover.Each(s.height, workers, func(y int) {
		if ctx.Err() == nil {
			s.line(s.e, across, y*s.width, 1, s.width, 0)
		}
	})
	down := make([]colour.RGB, len(s.e))
	cover.Each(s.width, workers, func(x int) {
		if ctx.Err() != nil {
			return
		}
		s.line(across, down, x, s.width, s.height, 1)
		for i := x; i < len(mean); i += s.width {
			mean[i] = mean[i].Add(down[i].Mul(s.a[i]))
		}
	})
}

// line blurs n pixels of a row (axis 0) or column (axis 1), from first on, stride apart. A tap takes the mean of what lies half way to its
// neighbours, from running sums. Where it lies off the surface, or on one that lies deeper than it is far, the pixel's own light stands in.
//
// Source of the running sums: Crow, Summed-Area Tables for Texture Mapping, SIGGRAPH 1984.
func (s *skin) line(e, out []colour.RGB, first, stride, n, axis int) {
	sum, count := make([]colour.RGB, n+1), make([]float64, n+1) // before each pixel
	any := false
	for i := range n {
		sum[i+1], count[i+1] = sum[i], count[i]
		if q := first + i*stride; s.kernel[q] != nil {
			sum[i+1], count[i+1] = sum[i].Add(e[q]), count[i]+1
			any = true
		}
	}
	if !any {
		return
	}
	// before returns the sums before a place between pixels, in pixels from the first one's edge.
	before := func(x float64) (colour.RGB, float64) {
		x = max(0, min(float64(n), x))
		i := min(int(x), n-1)
		f := x - float64(i)
		return colour.Lerp(sum[i], sum[i+1], f), count[i] + f*(count[i+1]-count[i])
	}
	for i := range n {
		q := first + i*stride
		k := s.kernel[q]
		if k == nil {
			continue
		}
		own := e[q]
		pixel := float64(s.step[q][axis])
		if pixel <= 0 || pixel > 4*k.Reach {
			out[q] = own
			continue
		}
		middle := float64(i) + 0.5
		var total colour.RGB
		// The outer taps reach as far beyond themselves as half way to the next one in.
		before0, count0 := before(middle + (1.5*k.Tap(0)-0.5*k.Tap(1))/pixel)
		for j := range k.Len() {
			t := k.Tap(j)
			to := middle + (1.5*t-0.5*k.Tap(max(0, j-1)))/pixel
			if j+1 < k.Len() {
				to = middle + (t+k.Tap(j+1))/2/pixel
			}
			before1, count1 := before(to)
			v := own
			at := first + max(0, min(n-1, i+int(math.Round(t/pixel))))*stride
			if far := 2*math.Abs(t) + 2*pixel; s.kernel[at] == k && s.p[at].Sub(s.p[q]).Len2() < far*far {
				v = e[at] // beyond the picture its edge goes on
				if count1 > count0 {
					v = before1.Sub(before0).Scale(1 / (count1 - count0))
				}
			}
			total = total.Add(v.Mul(k.Weight(j)))
			before0, count0 = before1, count1
		}
		out[q] = total
	}
}
