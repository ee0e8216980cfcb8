package eye

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// limb is where iris and white meet: one smooth step as it is seen from the front, of another width and place at each hour
// of the clock.
//
// White and cornea overlap along a slant, so light on its way to what lies beneath crosses more and more white from the inside
// out. The share of the white is 1 - exp(-mu z(x)), with the path z growing smoothly through the wedge and mu by channel. Colours
// blend by their logarithms: the inner half of the step is the iris, darkened, where a blend by sums is a grey ring.
//
// Widths of the painted step between 10 and 90 %: 0.6 mm at the sides, 1.1 below, 1.2 above; the optics over it (see under) widen
// the one at the sides. Opaque tissue reaches in above and below over a cornea that is nearly round: Ruefer, Schroeder and Erb,
// Cornea 24 (2005), 259, and Van Buskirk, Eye 3 (1989), 101, both from memory. The numbers of the outline: common practice, no
// published source.
type limb struct {
	start, end float64   // distances from the middle of the map between which places are tabled
	seen       []float64 // the distance from the axis at which they are seen from the front, mm
	radius     float64   // of the limbus, mm
	reach      float64   // of the white above and below, mm
	wide       float64   // the step's width over that of a grown human eye
}

// limbSteps is how many places limb tables.
const limbSteps = 512

func newLimb(p *Params, ir *iris, c *chart) *limb {
	b := &limb{radius: p.LimbusRadius, reach: p.LimbusReach, wide: p.LimbusWidth / 0.9}
	prof := newProfile(p)
	at := &seen{c: c, ir: ir, lip: ir.lip}
	low := ir.z - ir.convexity
	var from, to []float64
	for i := range 400 {
		r := ir.root * 0.6 * math.Pow((ir.lip+1)/(0.6*ir.root), float64(i)/399)
		st := prof.front(r)
		x, z := st.r-p.ShellGap*st.nr, st.z-p.ShellGap*st.nz
		if r < ir.lip {
			t := ir.wall.at(r)
			x, z = r+t*(x-r), low+t*(z-low)
		}
		rho := at.colourAt(x, z)
		if n := len(from); n > 0 && rho <= from[n-1] {
			continue
		}
		from, to = append(from, rho), append(to, b.seenAt(p, prof, x, z))
	}
	b.start, b.end = from[0], from[len(from)-1]
	b.seen = make([]float64, limbSteps+1)
	for i, k := 0, 0; i <= limbSteps; i++ {
		rho := b.start + (b.end-b.start)*float64(i)/limbSteps
		for k < len(from)-2 && from[k+1] < rho {
			k++
		}
		b.seen[i] = to[k] + (to[k+1]-to[k])*min(1, max(0, (rho-from[k])/(from[k+1]-from[k])))
	}
	return b
}

// seenAt returns how far from the axis a point at half chord r and height z is seen from far in front, mm: through the bending
// cornea or straight through the coat, by their odds there.
func (b *limb) seenAt(p *Params, prof *profile, r, z float64) float64 {
	const index = 1.336
	mean := p.LimbusRadius - 0.5*(1+aside)*p.LimbusReach
	zone := func(r float64) float64 {
		return 1 - geom.Smoothstep(mean-p.LimbusWidth/2, mean+p.LimbusWidth/2, r)
	}
	lo, hi := r, r+0.8
	for range 40 {
		h := (lo + hi) / 2
		st := prof.front(h)
		d, ok := geom.Refract(geom.Vec{Z: 1}, geom.Vec{X: st.nr, Z: st.nz}, index)
		if q := h + d.X/d.Z*(z-st.z); !ok || q > r {
			hi = h
		} else {
			lo = h
		}
	}
	bent := (lo + hi) / 2
	w := 1 - (1-zone(bent))*(1-zone(r))
	return w*bent + (1-w)*r
}

// at returns where a place of the map is seen, mm from the axis.
func (b *limb) at(rho float64) float64 {
	x := (rho - b.start) / (b.end - b.start) * limbSteps
	if x <= 0 {
		return b.seen[0] * rho / b.start
	}
	i := min(int(x), limbSteps-1)
	return b.seen[i] + (x-float64(i))*(b.seen[i+1]-b.seen[i])
}

// The wedge: mu times the whole path by channel, and for the green one where the opacity is 10, 50 and 90 % of the whole, as shares
// of the way across (own computation; TestLimbusIsOneStep holds it).
var wedge = colour.RGB{1.3, 1.35, 1.42}

const (
	wedgeMiddle = 0.388
	wedgeWidth  = 0.578
)

// aside is how far the white reaches in at the sides, over how far above and below.
const aside = 0.3

// middle returns where the shell is half cornea, half white, at the height cy of a direction; the renderer's zones are the same.
func (b *limb) middle(cy float64) float64 { return b.radius - b.reach*(aside+(1-aside)*cy*cy) }

// edge is the step in one direction.
type edge struct{ start, end float64 }

// edge returns the step in the direction (cx, cy), by the layer that says how wide it is. Above and below its middle lies further in by
// the white's reach; the seed makes the outline uneven: an ellipse askew by some hundredths of a mm, and less at higher orders.
func (b *limb) edge(l *Layer, gain float64, seed uint64, cx, cy float64) edge {
	middle, width := b.middle(cy)+0.17*b.wide, 0.8
	if gain != 0 {
		above := max(0, cy)
		middle -= 0.35 * b.reach * math.Pow(math.Abs(cy), 1.5)
		middle += gain * (0.06*noise3(seed, 1.1*cx, 1.1*cy, 0.5) + 0.03*noise3(seed+1, 3.2*cx, 3.2*cy, 0.5) + 0.012*noise3(seed+2, 11*cx, 11*cy, 0.5))
		width = l.Size + min(1, gain)*(0.5*math.Pow(math.Abs(cy), 1.5)+0.1*above*above) + 0.08*noise3(seed+3, 2.3*cx, 2.3*cy, 0.5)
	}
	length := width * b.wide / wedgeWidth
	return edge{middle - wedgeMiddle*length, middle + (1-wedgeMiddle)*length}
}

// share returns the share of the white by channel at a place seen h mm from the axis.
func (e edge) share(h float64) (a colour.RGB) {
	x := geom.Smoothstep(e.start, e.end, h)
	switch x {
	case 0:
		return a
	case 1:
		return colour.Grey(1)
	}
	for i, m := range wedge {
		a[i] = (1 - math.Exp(-m*x)) / (1 - math.Exp(-m))
	}
	return a
}

// under is what of white tissue is seen at a place under the limbus' optics, over what is seen of it well outside, by channel: under
// an even sky, by the place's distance from the limbus in widths of it. Bending cornea and thin coat hand over there, and
// red light travels furthest below the surface. The share of the white is raised by it, so that what is seen is the step
// that the layer says, without a dark line of the iris' hue outside it.
//
// Source: our own traced picture of a uniform eye (albedo 0.3, default shape), rings of 0.125 mm.
var under = []struct {
	at   float64
	seen colour.RGB
}{
	{-0.50, colour.RGB{0.64, 0.64, 0.64}}, {-0.28, colour.RGB{0.58, 0.57, 0.56}}, {-0.17, colour.RGB{0.56, 0.55, 0.53}},
	{-0.075, colour.RGB{0.50, 0.49, 0.48}}, {0.03, colour.RGB{0.47, 0.46, 0.44}}, {0.13, colour.RGB{0.56, 0.49, 0.39}},
	{0.24, colour.RGB{0.73, 0.67, 0.53}}, {0.34, colour.RGB{1.00, 0.92, 0.75}}, {0.45, colour.RGB{1.25, 1.21, 1.07}},
	{0.55, colour.RGB{1.27, 1.26, 1.23}}, {0.66, colour.RGB{1.15, 1.14, 1.12}}, {0.80, colour.RGB{1.07, 1.06, 1.04}},
	{1.05, colour.RGB{1, 1, 1}},
}

// lift returns what the albedo of white seen h mm from the axis is multiplied by to look as it does well outside.
func (b *limb) lift(h, cy float64) colour.RGB {
	x := (h - b.middle(cy)) / (0.9 * b.wide)
	if x >= under[len(under)-1].at {
		return colour.Grey(1)
	}
	i := 0
	for i < len(under)-2 && under[i+1].at < x {
		i++
	}
	p, q := &under[i], &under[i+1]
	c := colour.Lerp(p.seen, q.seen, min(1, max(0, (x-p.at)/(q.at-p.at))))
	// Hue in full, lightness by half: in full it would be a pale ring inside the step.
	k := math.Sqrt(c[1])
	if c[1] > 1 {
		k = 1
	}
	return colour.RGB{k / c[0], k / c[1], k / c[2]}
}
