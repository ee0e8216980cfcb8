package raster

import (
	"context"
	"math"
	"slices"

	"catchlight/material/hair"
	"catchlight/render/frozen"
	"catchlight/render/raster/cover"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
	"catchlight/scene/strand"
)

// How hair is drawn.
const (
	hairHeld  = 0.6  // pixels: the least half width of a strip; a thinner hair covers as much less of it
	hairSag   = 0.2  // pixels by which strips stray from the curve
	glintKept = 0.6  // share of a glint that hair before an eye leaves
	hairBack  = 0.35 // how bright what lies behind a hair is, of what lies around: skin and eye. Common practice, no published source
	hairCast  = 0.02 // mm: a hair with no half width of so much casts no shadow
)

// strip is a straight piece of a hair on the film.
type strip struct {
	hair   uint32 // of all that are drawn, from 1 on
	x, y   [2]float32
	w      [2]float32 // held half width, pixels
	a      [2]float32 // cover of a sample in it
	z      [2]float32 // depth of its front
	colour [2][3]float32
}

// hairTile is the side of the squares that workers draw hair in, pixels.
const hairTile = 32

// hairs draws the hair over the picture: strips that are nowhere narrower than 1.2 pixels, with the share of a sample that a thinner
// hair covers. Of one hair a sample takes the most that a strip of it covers; hairs lie before what was drawn as if their order among
// themselves did not count: what shows through is the product of what each leaves, their colour the mean by cover.
//
// Sources: Sintorn and Assarsson, Real-Time Approximate Sorting for Self Shadowing and Transparency in Hair Rendering, I3D 2008 (held
// width with less cover; from memory); McGuire and Bavoil, Weighted Blended Order-Independent Transparency, JCGT 2(2), 2013.
func (k *frame) hairs(ctx context.Context) {
	list := k.strips()
	if len(list) == 0 {
		return
	}
	nx, ny := (k.width+hairTile-1)/hairTile, (k.height+hairTile-1)/hairTile
	tiles := make([][]uint32, nx*ny)
	for i := range list {
		s := &list[i]
		r := max(s.w[0], s.w[1]) + 1
		x0, x1 := int(min(s.x[0], s.x[1])-r)/hairTile, int(max(s.x[0], s.x[1])+r)/hairTile
		y0, y1 := int(min(s.y[0], s.y[1])-r)/hairTile, int(max(s.y[0], s.y[1])+r)/hairTile
		for y := max(0, y0); y <= min(ny-1, y1); y++ {
			for x := max(0, x0); x <= min(nx-1, x1); x++ {
				tiles[y*nx+x] = append(tiles[y*nx+x], uint32(i))
			}
		}
	}
	glint := k.glintLevel()
	parallel.With(len(tiles), k.workers, newCombed, func(c *combed, i int) {
		if len(tiles[i]) > 0 && ctx.Err() == nil {
			k.comb(c, list, tiles[i], i%nx*hairTile, i/nx*hairTile, glint)
		}
	})
}

// combed is what one goroutine draws a tile of hair in.
type combed struct {
	last   [hairTile * hairTile * 8]uint32  // the hair that a sample saw last
	before [hairTile * hairTile * 8]float32 // what passed before that hair
	pass   [hairTile * hairTile * 8]float32 // and what passes now
	sum    [hairTile * hairTile][4]float32  // colour times cover, and cover
}

func newCombed() *combed { return new(combed) }

// comb draws the strips of a tile from pixel (x0, y0) on.
func (k *frame) comb(c *combed, list []strip, which []uint32, x0, y0 int, glint float64) {
	n := k.buf.Samples
	for i := range c.pass {
		c.last[i], c.pass[i] = 0, 1
	}
	clear(c.sum[:])
	for _, i := range which {
		c.draw(&list[i], k.buf, x0, y0)
	}
	for y := y0; y < min(k.height, y0+hairTile); y++ {
		for x := x0; x < min(k.width, x0+hairTile); x++ {
			at := (y-y0)*hairTile + x - x0
			q := c.sum[at]
			if q[3] == 0 {
				continue
			}
			left := 0.0
			for s := range n {
				left += float64(c.pass[at*8+s]) / float64(n)
			}
			i := y*k.width + x
			if k.out.Mean[i].Luminance() > glint && k.eyeAt(i) {
				left = max(left, glintKept)
			}
			for ch := range 3 {
				k.out.Mean[i][ch] = left*k.out.Mean[i][ch] + (1-left)*float64(q[ch]/q[3])
				k.skin.a[i][ch] *= float32(left)
			}
			k.out.Alpha[i] = left*k.out.Alpha[i] + 1 - left
		}
	}
}

// draw draws a strip into the samples of a tile.
func (c *combed) draw(s *strip, buf *cover.Buffer, x0, y0 int) {
	r := max(s.w[0], s.w[1]) + 1
	dx, dy := s.x[1]-s.x[0], s.y[1]-s.y[0]
	l2 := max(dx*dx+dy*dy, 1e-12)
	xa, xb := max(x0, int(min(s.x[0], s.x[1])-r)), min(buf.Width-1, x0+hairTile-1, int(max(s.x[0], s.x[1])+r))
	ya, yb := max(y0, int(min(s.y[0], s.y[1])-r)), min(buf.Height-1, y0+hairTile-1, int(max(s.y[0], s.y[1])+r))
	for y := ya; y <= yb; y++ {
		for x := xa; x <= xb; x++ {
			at := (y-y0)*hairTile + x - x0
			for q := range buf.Samples {
				ox, oy := cover.Offset(buf.Samples, q)
				px, py := float32(x)+float32(ox)-s.x[0], float32(y)+float32(oy)-s.y[0]
				t := min(1, max(0, (px*dx+py*dy)/l2))
				ex, ey := px-t*dx, py-t*dy
				w := s.w[0] + t*(s.w[1]-s.w[0])
				if ex*ex+ey*ey > w*w || s.z[0]+t*(s.z[1]-s.z[0]) < buf.Depth[(y*buf.Width+x)*buf.Samples+q] {
					continue
				}
				a := s.a[0] + t*(s.a[1]-s.a[0])
				k := at*8 + q
				if c.last[k] != s.hair {
					c.last[k], c.before[k] = s.hair, c.pass[k]
					for ch := range 3 {
						c.sum[at][ch] += a * (s.colour[0][ch] + t*(s.colour[1][ch]-s.colour[0][ch]))
					}
					c.sum[at][3] += a
				}
				c.pass[k] = min(c.pass[k], c.before[k]*(1-a))
			}
		}
	}
}

// eyeAt reports whether the first sample of pixel i shows an eye.
func (k *frame) eyeAt(i int) bool {
	id := k.buf.ID[i*k.buf.Samples]
	if id == cover.None {
		return false
	}
	o := k.solids[k.pass.Object(id)].object
	return o >= 0 && k.scene.Objects[o].Eye >= 0
}

// glintLevel is the luminance from which on a pixel of an eye counts as a glint: half of the faintest lamp's image in water, whose
// reflectance is 0.02.
func (k *frame) glintLevel() float64 {
	least := math.Inf(1)
	for i := range k.lamps {
		least = min(least, 0.01*k.lamps[i].Radiance.Luminance())
	}
	return least
}

// strips makes the strips of all hair that the camera sees.
func (k *frame) strips() (list []strip) {
	hairs := uint32(0)
	for i := range k.scene.Objects {
		b := &k.scene.Objects[i]
		if b.Material.Kind != frozen.Hair || b.Mask&frozen.CameraRays == 0 {
			continue
		}
		n := b.End - b.First
		each := make([][]strip, n)
		parallel.Each(int(n), k.workers, func(j int) { each[j] = k.stripsOf(b, b.First+uint32(j), hairs+uint32(j)+1) })
		hairs += n
		for _, q := range each {
			list = append(list, q...)
		}
	}
	return list
}

// stripsOf makes the strips of hair j of an object.
func (k *frame) stripsOf(b *frozen.Object, j, name uint32) (list []strip) {
	set := b.Hair.Set()
	spans := int(set.Start[j+1]-set.Start[j]) - 1
	size, spread := k.camera.PixelSpread()
	var last strip
	started := false
	end := func(p geom.Vec, r, u float64) {
		p = b.ToWorld.Point(p)
		if !(k.view.W.At(p) > 0) {
			started = false
			return
		}
		depth := k.back.Dot(k.at.Sub(p))
		wide := r * b.Scale / (size + spread*depth)
		x, y, _ := k.view.Project(p)
		_, _, z := k.view.Project(p.Mad(r*b.Scale, k.toCamera(p)))
		held := max(wide, hairHeld)
		c, clear := k.strandColour(b, j, u, p)
		var s strip
		s.hair = name
		s.x[1], s.y[1], s.w[1], s.a[1], s.z[1] = float32(x), float32(y), float32(held), float32(wide/held*(1-clear)), float32(z)
		s.colour[1] = [3]float32{float32(c[0]), float32(c[1]), float32(c[2])}
		if started {
			s.x[0], s.y[0], s.w[0], s.a[0], s.z[0], s.colour[0] = last.x[1], last.y[1], last.w[1], last.a[1], last.z[1], last.colour[1]
			list = append(list, s)
		}
		last, started = s, true
	}
	for i := range spans {
		q := set.Span(int(j), i)
		depth := k.back.Dot(k.at.Sub(b.ToWorld.Point(q.C[0])))
		n := q.Pieces(hairSag * max(1e-6, size+spread*depth) / b.Scale)
		for t := range n {
			at := float64(t) / float64(n)
			end(q.At(at), q.Radius(at), (float64(i)+at)/float64(spans))
		}
		if i == spans-1 {
			end(q.At(1), q.Radius(1), 1)
		}
	}
	return list
}

// strandColour returns what a hair sends to the camera at a place: its lobes, as a mean of three places across it, for the middle of each lamp
// with the lamp's shadow; and of the surroundings the share that comes back of even light, half of it from before the hair and half
// from behind, where skin or eye take up most. What goes through the hair shows what was drawn behind instead: clear is how much
// that is, and the colour that of the rest. What light does between hairs is left out.
func (k *frame) strandColour(b *frozen.Object, j uint32, u float64, p geom.Vec) (out colour.RGB, clear float64) {
	wo := k.toCamera(p)
	f := b.Along(j, u, b.ToLocal.Vector(wo.Neg()))
	f = geom.Frame{S: b.ToWorld.Vector(f.S).Unit(), T: b.ToWorld.Vector(f.T).Unit(), N: b.ToWorld.Vector(f.N).Unit()}
	sigma := b.Pigment(j, u)
	var fibres [3]hair.Fibre
	var share colour.RGB
	for i := range fibres {
		fibres[i].Meet(b.Material.Fibre, wo.Dot(f.S), float64(i-1)*0.7, sigma)
		share = share.Add(fibres[i].Share().Sub(fibres[i].Through()).Scale(1.0 / 3))
		clear += fibres[i].Through().Luminance() / 3
	}
	around := k.ambient.Irradiance(f.N).Add(k.ambient.Irradiance(f.N.Neg()).Scale(hairBack)).Scale(0.5 / math.Pi)
	out = around.Mul(share)
	for i := range k.lamps {
		l := &k.lamps[i]
		d, _, _, ok := l.toward(p)
		if !ok {
			continue
		}
		e := l.cosine(p, d)
		if e <= 0 {
			continue
		}
		e *= k.onAll[i].lit(p, d, k.set.Shadow)
		if e <= 0 {
			continue
		}
		local := f.Local(d)
		var v colour.RGB
		for q := range fibres {
			c, _ := fibres[q].Eval(local)
			v = v.Add(c.Scale(1.0 / 3))
		}
		out = out.Add(v.Mul(l.strength()).Scale(e))
	}
	return out.Scale(1 / max(1e-3, 1-clear)), clear
}

// casting returns the hairs of an object that cast shadows.
func casting(b *frozen.Object) *strand.Set {
	set, out := b.Hair.Set(), &strand.Set{}
	for i := b.First; i < b.End; i++ {
		k, e := set.Start[i], set.Start[i+1]
		if slices.Max(set.R[k:e]) >= hairCast {
			out.Add(set.P[k:e], set.R[k:e], set.Eu[i], set.Ph[i])
		}
	}
	return out
}
