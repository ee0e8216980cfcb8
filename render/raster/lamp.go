package raster

import (
	"math"

	"catchlight/light"
	"catchlight/render/raster/shading"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// lamp is a light with a shape.
type lamp struct {
	light.Form
	index int // in the scene
	rim   [][2]float64
	panes [][4]geom.Vec // of a rectangle
	reach float64       // radius about the centre that holds it, mm; of a distant light the sine of its angular radius
}

// rimCorners is the number of corners of the polygon that stands for a round light.
const rimCorners = 12

func newLamp(f light.Form, index int) lamp {
	l := lamp{Form: f, index: index}
	switch f.Kind {
	case light.Rectangle:
		for i := range f.NX * f.NY {
			l.panes = append(l.panes, f.Pane(i))
		}
		l.reach = math.Hypot(f.W, f.H) / 2
	case light.Distant:
		l.reach = math.Sin(f.Radius)
	default:
		l.reach = f.Radius
	}
	if f.Kind != light.Rectangle {
		// A regular polygon of the area of the unit circle.
		r := math.Sqrt(2 * math.Pi / (rimCorners * math.Sin(2*math.Pi/rimCorners)))
		for i := range rimCorners {
			s, c := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / rimCorners)
			l.rim = append(l.rim, [2]float64{r * c, r * s})
		}
	}
	return l
}

// toward returns the unit direction from p to the light's middle, its distance, and the sine of the cone about it that holds the light (1 or
// more: all around). ok is false where the light does not shine on p.
func (l *lamp) toward(p geom.Vec) (d geom.Vec, dist, sin float64, ok bool) {
	if l.Kind == light.Distant {
		return l.Frame.N, math.Inf(1), l.reach, true
	}
	v := l.Centre.Sub(p)
	if l.Kind != light.Sphere && !l.TwoSided && v.Dot(l.Frame.N) >= 0 {
		return d, 0, 0, false
	}
	dist = v.Len()
	return v.Mul(1 / dist), dist, l.reach / dist, dist > 0
}

// outline returns the corners of the light as seen from p, relative to p: the whole rectangle, or a polygon for a round light. In a
// sphere's place stands the disc that its outline spans.
func (l *lamp) outline(p geom.Vec, buf []geom.Vec) []geom.Vec {
	if l.Kind == light.Rectangle {
		c := l.Centre.Sub(p)
		s, t := l.Frame.S.Mul(l.W/2), l.Frame.T.Mul(l.H/2)
		return append(buf, c.Sub(s).Sub(t), c.Add(s).Sub(t), c.Add(s).Add(t), c.Sub(s).Add(t))
	}
	c, s, t := l.Centre.Sub(p), l.Frame.S.Mul(l.Radius), l.Frame.T.Mul(l.Radius)
	switch l.Kind {
	case light.Distant:
		f := geom.NewFrame(l.Frame.N)
		k := math.Tan(l.Radius)
		c, s, t = l.Frame.N, f.S.Mul(k), f.T.Mul(k)
	case light.Sphere:
		d2, r2 := c.Len2(), l.Radius*l.Radius
		f := geom.NewFrame(c.Mul(1 / math.Sqrt(d2)))
		k := math.Sqrt(max(1e-12, 1-r2/d2))
		c = c.Mul(k * k)
		s, t = f.S.Mul(l.Radius*k), f.T.Mul(l.Radius*k)
	}
	for _, q := range l.rim {
		buf = append(buf, c.Mad(q[0], s).Mad(q[1], t))
	}
	return buf
}

// cosine returns the irradiance of the light on a surface of normal n at p over pi times its radiance: in [0, 1], without shadow.
func (l *lamp) cosine(p, n geom.Vec) float64 {
	d, _, sin, ok := l.toward(p)
	if !ok || sin < 1 && d.Dot(n) <= -sin {
		return 0
	}
	// A ball or disc far off that stands clear of the horizon needs no polygon.
	if c := d.Dot(n); sin < 0.2 && c > sin {
		switch l.Kind {
		case light.Distant, light.Sphere:
			return sin * sin * c
		case light.Disc:
			if sin < 0.05 {
				return sin * sin * c * math.Abs(d.Dot(l.Frame.N))
			}
		}
	}
	var buf [24]geom.Vec
	fr := geom.NewFrame(n)
	q := l.outline(p, buf[:0])
	for i := range q {
		q[i] = fr.Local(q[i])
	}
	return shading.FormFactor(q) * l.Open()
}

// gloss returns the share of a glossy lobe that the light fills. It is 0 where the lobe's tail there is below a thousandth.
func (l *lamp) gloss(p geom.Vec, lobe *shading.Lobe, r geom.Vec, alpha float64) float64 {
	d, _, sin, ok := l.toward(p)
	if !ok {
		return 0
	}
	if off := math.Acos(max(-1, min(1, d.Dot(r)))) - math.Asin(min(1, sin)); off > 64*alpha+0.01 {
		return 0
	}
	var buf [24]geom.Vec
	if l.Kind != light.Rectangle {
		return lobe.Share(l.outline(p, buf[:0])) * l.facet(p, r, alpha)
	}
	sum := 0.0
	for i := range l.panes {
		for c := range 4 {
			buf[c] = l.panes[i][c].Sub(p)
		}
		sum += lobe.Share(buf[:4])
	}
	return sum * l.facet(p, r, alpha)
}

// facet returns what the radiance is multiplied by where the mirrored view r meets the light's face, over about the width of the lobe.
//
// Source: Heitz, Dupuy, Hill and Neubelt, Real-Time Polygonal-Light Shading with Linearly Transformed Cosines, ACM TOG 35(4), 2016,
// whose textured lights are read, filtered, at one place of their plane; here at the mirrored ray's.
func (l *lamp) facet(p, r geom.Vec, alpha float64) float64 {
	if !l.Profiled() {
		return 1
	}
	v := l.Centre.Sub(p)
	c := r.Dot(l.Frame.N)
	t := v.Dot(l.Frame.N) / c
	if c == 0 || !(t > 0) || math.IsInf(t, 0) {
		return 1
	}
	at := r.Mul(t).Sub(v)
	x, y := at.Dot(l.Frame.S), at.Dot(l.Frame.T)
	step := min(2*alpha*t, l.reach) // a facet turned by alpha mirrors twice as far aside
	sum := 0.0
	for k := range 9 {
		sum += l.At(x+float64(k%3-1)*step, y+float64(k/3-1)*step)
	}
	return sum / 9
}

// strength returns pi times the radiance: what cosine is a share of.
func (l *lamp) strength() colour.RGB { return l.Radiance.Scale(math.Pi) }
