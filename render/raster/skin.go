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

// spreadOf returns how light spreads in an eye's white, in mm of the world: by its extinction and mean albedo.
func spreadOf(e *frozen.Eye, scale float64) (out [3]shading.Spread) {
	alpha := e.Tissue.Alpha.Mean(func(d geom.Vec) bool { return d.Z > 0 && e.TissueZone(d.Mul(2*e.LimbusRadius)) == 0 })
	for c := range out {
		out[c] = shading.NewSpread(scale * tissue.ExitRadius50(alpha[c]) / e.Tissue.SigmaSclera[c])
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
		for x := range s.width {
			if ctx.Err() == nil {
				across[y*s.width+x] = s.blur(s.e, x, y, 0)
			}
		}
	})
	cover.Each(s.height, workers, func(y int) {
		for x := range s.width {
			if i := y*s.width + x; s.kernel[i] != nil && ctx.Err() == nil {
				mean[i] = mean[i].Add(s.blur(across, x, y, 1).Mul(s.a[i]))
			}
		}
	})
}

// blur gathers the taps of a pixel along an axis of the picture (0: across, 1: down). Where a tap lies off the surface, or on one that
// lies deeper than it is far, the pixel's own light stands in.
func (s *skin) blur(e []colour.RGB, x, y, axis int) colour.RGB {
	i := y*s.width + x
	k := s.kernel[i]
	if k == nil {
		return colour.RGB{}
	}
	own := e[i]
	pixel := float64(s.step[i][axis])
	if pixel <= 0 || pixel > 4*k.Reach {
		return own
	}
	at, last, stride := x, s.width-1, 1
	if axis == 1 {
		at, last, stride = y, s.height-1, s.width
	}
	var sum colour.RGB
	n := k.Len()
	for j := range n {
		t := k.Tap(j)
		v := own
		q := float64(at) + t/pixel
		if lo := int(math.Floor(q)); lo >= 0 && lo < last {
			a := i + (lo-at)*stride
			b := a + stride
			near := func(c int) bool {
				return s.kernel[c] == k && s.p[c].Sub(s.p[i]).Len2() < (2*math.Abs(t)+2*pixel)*(2*math.Abs(t)+2*pixel)
			}
			f := q - float64(lo)
			okA, okB := near(a), near(b)
			switch {
			case okA && okB:
				v = colour.Lerp(e[a], e[b], f)
			case okA && f < 0.5:
				v = e[a]
			case okB && f >= 0.5:
				v = e[b]
			}
		}
		sum = sum.Add(v.Mul(k.Weight(j)))
	}
	return sum
}
