package raster

import (
	"math"

	"catchlight/light"
	"catchlight/light/envmap"
	"catchlight/render/raster/shading"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// farLight is an environment: its picture is prefiltered as it is, so that rotation and gain cost a look-up no more than two products.
type farLight struct {
	*farPicture
	gain  colour.RGB
	toMap func(d geom.Vec) geom.Vec
}

// farPicture is the picture of an environment, prefiltered.
type farPicture struct {
	sphere    *shading.Sphere
	harmonics shading.Harmonics
}

// farInputs is all that a prefiltered picture reads.
type farInputs struct {
	Picture *envmap.Map
	Size    int
}

func (k *Look) newFarLight(l *light.Light) farLight {
	m, gain, toMap := l.Picture()
	n := k.set.PrefilterSize
	p := derived(k, "raster surroundings "+l.Name, farInputs{m, n}, func() *farPicture {
		const sub = 3 // points along a texel's side
		s := shading.NewSphere(n, k.workers, func(x, y int) (c colour.RGB) {
			for i := range sub * sub {
				c = c.Add(m.Radiance(shading.Direction(n*sub, x*sub+i%sub, y*sub+i/sub).Unit()))
			}
			return c.Scale(1.0 / (sub * sub))
		})
		return &farPicture{s, s.Harmonics()}
	})
	return farLight{p, gain, toMap}
}

// around returns the light from far away about a direction, as a surface of the given alpha mirrors it.
func (k *Look) around(d geom.Vec, alpha float64) colour.RGB {
	out := k.even
	for i := range k.far {
		f := &k.far[i]
		out = out.Add(f.sphere.At(f.toMap(d), alpha).Mul(f.gain))
	}
	return out
}

// harmonics returns the coefficients of all light from far away.
func (k *Look) harmonics() *shading.Harmonics {
	out := new(shading.Harmonics)
	out[0] = k.even.Scale(math.Sqrt(4 * math.Pi)) // of 1: its integral over the first function, 1/sqrt(4 pi)
	for i := range k.far {
		f := &k.far[i]
		// The frame of the scene turns into the picture's.
		turned := f.harmonics.Turned(f.toMap)
		for q, v := range turned {
			out[q] = out[q].Add(v.Mul(f.gain))
		}
	}
	return out
}
