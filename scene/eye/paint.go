package eye

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// Keep returns what make makes, or what it made before under the same name from the same inputs, which must be JSON values.
// It may be called by several goroutines at once.
type Keep func(name string, inputs any, make func() any) any

// keepNone makes all anew.
func keepNone(_ string, _ any, make func() any) any { return make() }

// coarse is how many texels lie between the nodes at which smooth fields are computed; between nodes they are interpolated.
const coarse = 6

// white is the sclera as seen under diffuse light: its own colour and the layers on it, for a map of one size.
type white struct {
	p      *Params
	limbus float64 // polar angle
	n      int     // nodes a side
	base   []colour.RGB
	rest   []laid // what comes after the first net of vessels: texel by texel
	nets   []*net
	film   bool // something lies on top
}

// laid is a layer with its field: over the nodes, or a net of vessels.
type laid struct {
	*Layer
	gain float64
	values
	mask *values
}

// values is a layer's field: a grid over the nodes, or a net.
type values struct {
	grid []float32
	net  *net
}

// shape is what a field depends on beside its layer.
type shape struct {
	Globe, Limbus, Width float64
	Left                 bool
	Seed                 uint64
	Size                 int
	Share, Zoom          float64
}

func newWhite(p *Params, c *chart, nets map[string]*net, size int, zoom float64, keep Keep) *white {
	w := &white{p: p, limbus: math.Asin(p.LimbusRadius / p.GlobeRadius), n: (size+coarse-1)/coarse + 1}
	s := shape{p.GlobeRadius, p.LimbusRadius, p.LimbusWidth, p.Left, p.Seed, size, p.IrisShare, zoom}
	fieldOf := func(l *Layer) values {
		if l.isNet() {
			return values{net: nets[l.Name]}
		}
		inputs := []any{s, l.bare()}
		var of *net
		if l.Kind == "halo" {
			if m := p.layer(l.Mask); m != nil && nets[m.Name] != nil {
				of = nets[m.Name]
				inputs = append(inputs, m.bare(), p.open())
			}
		}
		return values{grid: keep("field "+l.Name, inputs, func() any { return w.bake(l, c, of, size, zoom) }).([]float32)}
	}
	var all []laid
	first := -1
	for i := range p.Paint {
		l := &p.Paint[i]
		q := laid{Layer: l, gain: p.gain(l)}
		if q.gain == 0 || l.OfIris() {
			continue
		}
		if q.values = fieldOf(l); q.grid == nil && q.net == nil {
			continue
		}
		if m := p.layer(l.Mask); m != nil && l.Kind != "halo" && !m.OfIris() {
			f := fieldOf(m)
			q.mask = &f
		}
		if first < 0 && (q.net != nil || q.mask != nil && q.mask.net != nil) {
			first = len(all)
		}
		if q.net != nil {
			w.nets = append(w.nets, q.net)
		}
		w.film = w.film || l.Into == "film"
		all = append(all, q)
	}
	if first < 0 {
		first = len(all)
	}
	w.rest = all[first:]
	w.base = make([]colour.RGB, w.n*w.n)
	parallel.Runs(w.n, 8, func(j0, j1 int) {
		for at := j0 * w.n; at < j1*w.n; at++ {
			a := p.ScleraColour
			for i := range all[:first] {
				q := &all[i]
				f := q.gain * float64(q.grid[at])
				if q.mask != nil {
					f *= q.share(float64(q.mask.grid[at]))
				}
				a = q.blend(a, f)
			}
			w.base[at] = a
		}
	})
	return w
}

// bare is what of a layer its field depends on.
func (l *Layer) bare() Layer {
	q := *l
	q.On, q.Amount, q.Blend, q.Into, q.Colour, q.Invert = true, 1, "", "", colour.RGB{}, false
	if l.Kind != "halo" {
		q.Mask = ""
	}
	return q
}

// share turns a mask's field into a share.
func (l *Layer) share(f float64) float64 {
	f = min(1, max(0, f))
	if l.Invert {
		return 1 - f
	}
	return f
}

// bake computes a layer's field at every node.
func (w *white) bake(l *Layer, c *chart, of *net, size int, zoom float64) []float32 {
	out := make([]float32, w.n*w.n)
	at := w.fieldAt(l, of)
	parallel.Runs(w.n, 8, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range w.n {
				u, v := zoom*((float64(i*coarse)+0.5)/float64(size)-0.5), zoom*(0.5-(float64(j*coarse)+0.5)/float64(size))
				s := w.spot(c, u, v)
				out[j*w.n+i] = float32(at(&s))
			}
		}
	})
	return out
}

// spot is a place on the white.
type spot struct {
	q      geom.Vec // on the globe, mm
	phi    float64  // polar angle about the axis
	cx, cy float64  // unit direction about the axis
	out    float64  // 0 at the limbus, 1 well back
	rim    float64
	even   float64 // 1, and 0 well behind, where the map runs out into one colour
}

func (w *white) spot(c *chart, u, v float64) spot {
	rho := math.Sqrt(u*u + v*v)
	sin, cos := c.polar(min(rho, 0.4999))
	s := spot{cx: 1}
	if rho > 0 {
		s.cx, s.cy = u/rho, v/rho
	}
	s.phi = math.Atan2(sin, cos)
	s.q = geom.Vec{X: sin * s.cx, Y: sin * s.cy, Z: cos}.Mul(w.p.GlobeRadius)
	s.out = (s.phi - w.limbus) / (geom.Radians(75) - w.limbus)
	s.rim = geom.Smoothstep(0.05, 1, s.out)
	s.even = 1 - geom.Smoothstep(geom.Radians(100), geom.Radians(130), s.phi)
	return s
}

// fieldAt returns the field of a smooth layer as a function of the place.
func (w *white) fieldAt(l *Layer, of *net) func(s *spot) float64 {
	seed := l.seed(w.p)
	nasal := w.p.nasal()
	noise := func(s *spot, seed uint64, k float64, octaves int) float64 {
		if s.even == 0 {
			return 0
		}
		return s.even * fbm3(seed, k*s.q.X, k*s.q.Y, k*s.q.Z, octaves)
	}
	low := func(s *spot) float64 { return noise(s, seed^0xb1, 0.16, 3) }
	mid := func(s *spot) float64 { return noise(s, seed^0xb2, 0.45, 3) }
	switch l.Kind {
	case "halo":
		soft := of.blurred(l.Size)
		return func(s *spot) float64 { return soft.at(s.phi, s.cx, s.cy) }
	case "redness":
		// Warmer and redder toward the rim and the corners, most toward the nose.
		return func(s *spot) float64 {
			corner := 0.5 + (math.Abs(s.cx)*s.rim-0.5)*s.even
			nose := 0.25 * s.even * max(0, s.cx*nasal) * s.rim
			return max(0, 0.5*s.rim+0.5*corner+nose) * max(0, 1+0.9*low(s)+0.5*mid(s))
		}
	case "fat":
		// Most in the gap between the lids beside the limbus.
		return func(s *spot) float64 {
			gap := math.Exp(-s.cy*s.cy/0.08) * math.Exp(-(s.out-0.22)*(s.out-0.22)/0.03) * (0.75 + 0.25*s.cx*nasal)
			m := mid(s)
			return max(0, max(0, m+0.4*low(s))*(0.5+0.2*s.rim)+0.55*s.even*gap*(0.6+m))
		}
	case "thin":
		return func(s *spot) float64 { return max(0, -mid(s)-0.3*low(s)) * (1 - 0.4*s.rim) }
	case "mottle":
		k := 1 / l.Size
		seed ^= uint64(1000*l.Size) + 0xb1
		return func(s *spot) float64 { return noise(s, seed, k, 3) }
	}
	// Cooler and greyer beside the limbus, where the tissue is thin: wider above and below, and never quite even.
	return func(s *spot) float64 {
		reach := 0.09 * (1 + 0.5*s.cy*s.cy) * (1 + 0.35*noise3(seed^0xb4, 2*s.cx, 2*s.cy, 0.5))
		return math.Exp(-max(0, s.phi-w.limbus) / reach)
	}
}

// colour returns the albedo x and y texels from the middle of the first one, which lies at polar angle phi in the direction (cx, cy) about the axis,
// and what the vessels on top let pass on one crossing.
func (w *white) colour(x, y float64, phi, cx, cy float64) (a, film colour.RGB) {
	film = colour.Grey(1)
	i, j := min(w.n-2, int(max(0, x)/coarse)), min(w.n-2, int(max(0, y)/coarse))
	tx, ty := max(0, x)/coarse-float64(i), max(0, y)/coarse-float64(j)
	at := j*w.n + i
	a = colour.Lerp(colour.Lerp(w.base[at], w.base[at+1], tx), colour.Lerp(w.base[at+w.n], w.base[at+w.n+1], tx), ty)
	nx, ny, there := netPlace(phi, w.p.GlobeRadius, cx, cy)
	value := func(f *values) float64 {
		if f.net != nil {
			return there * f.net.l.sample(f.net.v, nx, ny)
		}
		g := f.grid
		return (float64(g[at])*(1-tx)+float64(g[at+1])*tx)*(1-ty) + (float64(g[at+w.n])*(1-tx)+float64(g[at+w.n+1])*tx)*ty
	}
	for k := range w.rest {
		q := &w.rest[k]
		if q.net != nil && there == 0 {
			continue
		}
		f := q.gain * value(&q.values)
		if q.net != nil && f > 0 {
			hue := bloodHue(q.net.depthAt(nx, ny))
			if q.mask != nil {
				f *= q.share(value(q.mask))
			}
			for i := range film {
				// Light crosses it twice.
				film[i] = q.mix(film[i], 0.5*f*hue[i], q.Colour[i])
			}
			continue
		}
		if q.mask != nil {
			f *= q.share(value(q.mask))
		}
		if f == 0 {
			continue
		}
		if q.Into == "film" {
			film = q.blend(film, f)
		} else {
			a = q.blend(a, f)
		}
	}
	for i := range a {
		a[i], film[i] = max(0.05, min(a[i], 0.95)), max(0, min(1, film[i]))
	}
	return a, film
}

// vessels returns the density of all nets at a place, 0 and up: those on top count in full.
func (w *white) vessels(phi, cx, cy float64, top bool) (d float64) {
	for k := range w.rest {
		q := &w.rest[k]
		switch {
		case q.net == nil || top && q.Into != "film":
		case q.Into == "film":
			d += q.gain * q.net.at(phi, cx, cy)
		default:
			d += 0.6 * q.gain * q.net.at(phi, cx, cy)
		}
	}
	return d
}
