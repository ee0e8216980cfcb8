package raster

import (
	"math"

	"catchlight/render/accel"
	"catchlight/render/camera"
	"catchlight/render/raster/cover"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Visible returns for each sample the object that it shows (-1: none) and the distance along the camera's axis in mm.
func (k *Look) Visible(c *camera.Camera, width, height int) (object []int32, depth []float64, offset func(s int) (x, y float64)) {
	f := k.frame(c, width, height)
	p := cover.NewPass(f.view)
	for i := range k.solids {
		k.solids[i].addTo(p, int32(i), k.solids[i].side, k.workers)
	}
	b := p.Draw(k.set.CoverageSamples, k.workers)
	for i, id := range b.ID {
		if id == cover.None {
			object, depth = append(object, -1), append(depth, 0)
			continue
		}
		n := b.Samples
		ox, oy := cover.Offset(n, i%n)
		q := f.place(p, k.solids, id, float64(i/n%width)+ox, float64(i/n/width)+oy)
		object, depth = append(object, k.solids[p.Object(id)].object), append(depth, f.at.Sub(q).Dot(c.Frame().N))
	}
	return object, depth, func(s int) (float64, float64) { return cover.Offset(k.set.CoverageSamples, s) }
}

// PupilOpen returns the area of the pupil in the relief of the first eye, mm^2.
func (k *Look) PupilOpen() (area float64) {
	r := k.eyes[0].relief
	t := 2 * r.reach / float64(r.n)
	for i, o := range r.open {
		x, y := float64(i%r.n)-float64(r.n)/2, float64(i/r.n)-float64(r.n)/2
		if o == 0 && (x*x+y*y)*t*t < 9 {
			area += t * t
		}
	}
	return area
}

// BehindCornea returns the basic irradiance of the first lamp, whose radiance is l, over that radiance, and that of the surroundings, on a
// plane across the axis at (x, 0) of the first eye's iris.
func (k *Look) BehindCornea(x, l float64) (lamp, far float64) {
	b := k.eyes[0].behind
	e, _ := b.surround((x/b.reach+1)/2, 0.5)
	up := geom.Vec{Z: 1}
	return (b.at(k, geom.Vec{X: x}, up, 1, colour.RGB{})[1] - e[1]*(1+b.base.normal(x, 0).Z)/2) / l, e[1]
}

// Lit returns the share of lamp i that plain surfaces of normal n see by their place, its shadow map fitted to a ball.
func (k *Look) Lit(i int, n, centre geom.Vec, radius float64) func(p geom.Vec) float64 {
	f := &frame{Look: k}
	f.shadows(centre, radius)
	return func(p geom.Vec) float64 { return f.onAll[i].lit(p, n, k.set.Shadow) }
}

// Net returns the number of triangles that stand for the first object, and how far their corners lie off its mesh along rays from its
// own origin, in mm.
func (k *Look) Net() (count int, worst float64) {
	s := &k.solids[0]
	b := &k.scene.Objects[s.object]
	sc := accel.NewScratch()
	for _, p := range s.points {
		q := b.ToLocal.Point(p)
		var h accel.Hit
		if !b.BVH.Closest(sc, geom.Vec{}, q.Unit(), 0, 1e9, &h) {
			return len(s.tri), 1e9
		}
		worst = max(worst, math.Abs(h.T-q.Len()))
	}
	return len(s.tri), worst
}

// BallHides returns the share of the hemisphere about n at p that an eye's ball takes.
func BallHides(p, n, centre geom.Vec, radius float64) float64 {
	return (&eyeball{centre: centre, radius: radius}).hides(p, n)
}

// Opened is what neighbours of colour c leave of light on a place that is open by o.
func Opened(o float64, c colour.RGB) colour.RGB { return opened(o, c) }

// Wet returns the share of each pixel that tears cover.
func (k *Look) Wet(c *camera.Camera, width, height int) []float32 {
	f := k.frame(c, width, height)
	f.pass = cover.NewPass(f.view)
	for i := range k.solids {
		k.solids[i].addTo(f.pass, int32(i), k.solids[i].side, k.workers)
	}
	f.buf = f.pass.Draw(k.set.CoverageSamples, k.workers)
	f.laySheets()
	return f.wet
}
