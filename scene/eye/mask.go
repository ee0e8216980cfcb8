package eye

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// The masks: the share of each part of the eye at a place, 0 to 1, with soft edges. Those of Parts add up to 1 everywhere;
// MaskIris is the sum of the three that are iris.
const (
	MaskPupil     Kind = "mask_pupil"
	MaskMargin    Kind = "mask_pupil_margin" // the ruff about the pupil
	MaskPupillary Kind = "mask_pupillary_zone"
	MaskCiliary   Kind = "mask_ciliary_zone"
	MaskLimbus    Kind = "mask_limbus"
	MaskSclera    Kind = "mask_sclera"
	MaskCaruncle  Kind = "mask_caruncle_side" // the white toward the nose
	MaskBack      Kind = "mask_back"
	MaskIris      Kind = "mask_iris"
)

// Part is a part of the eye and the colour that shows it in Preview.
type Part struct {
	Name   string
	Mask   Kind
	Zone   int      // the zone of the map Zones in which it lies
	Colour [3]uint8 // sRGB
}

// Parts returns the parts, from the pupil outward. Colours are our own choice: even in lightness, told apart in hue.
func Parts() []Part {
	return []Part{
		{"pupil", MaskPupil, ZonePupil, [3]uint8{24, 24, 28}},
		{"pupil margin", MaskMargin, ZonePupillary, [3]uint8{214, 94, 36}},
		{"pupillary zone", MaskPupillary, ZonePupillary, [3]uint8{236, 186, 62}},
		{"ciliary zone", MaskCiliary, ZoneCiliary, [3]uint8{70, 150, 92}},
		{"limbus", MaskLimbus, ZoneLimbus, [3]uint8{58, 122, 196}},
		{"sclera", MaskSclera, ZoneBulbar, [3]uint8{226, 224, 218}},
		{"caruncle side", MaskCaruncle, ZoneCaruncle, [3]uint8{206, 108, 152}},
		{"back", MaskBack, ZoneBack, [3]uint8{122, 112, 156}},
	}
}

// Masks returns all masks.
func Masks() []Kind {
	out := []Kind{MaskIris}
	for _, p := range Parts() {
		out = append(out, p.Mask)
	}
	return out
}

// Half widths of the masks' edges: our own choice, no published source. The edges' middles are those of the map Zones.
const (
	marginBand = 0.3 // mm from the pupil's edge to the middle of the ruff's outer edge
	softPupil  = 0.04
	softMargin = 0.12
	softCollar = 0.12 // mm
	softIris   = 0.15 // mm
	softLimbus = 0.35 // mm along the globe
	softBack   = 6.0  // degrees
	softNose   = 8.0  // degrees
)

// shares fills the shares of Parts at a place of the texture plane. Each edge takes its part of what is left outside the ones
// before, so they add up to 1.
func (b *baker) shares(u, v float64, out *[8]float64) {
	rho := math.Hypot(u, v)
	r := rho / b.c.perMM
	cx, cy, phi := b.polarAt(u, v, rho)
	texel := b.zoom / (float64(b.n) * b.c.perMM) // mm, inside the limbus
	// beyond is 0 well inside an edge and 1 well outside; edges are never sharper than the map can show.
	beyond := func(x, soft float64) float64 {
		soft = max(soft, 0.75*texel)
		return geom.Smoothstep(-soft, soft, x)
	}
	*out = [8]float64{}
	left := 1.0
	give := func(i int, past float64) { out[i], left = left*(1-past), left*past }
	if rho < b.c.share {
		theta, q := b.ir.polar(u/b.c.perMM, v/b.c.perMM)
		sin, cos := math.Sincos(theta)
		wide := b.ir.root - b.ir.edge(cos, sin) // mm of tissue
		give(0, beyond(q*wide, softPupil))
		give(1, beyond(q*wide-marginBand, softMargin))
		outer := 1 - beyond(r-(b.ir.root-0.1), softIris)
		iris := left * outer
		past := beyond((q-b.ir.tissue.collar.at(theta))*wide, softCollar)
		out[2], out[3], left = iris*(1-past), iris*past, left*(1-outer)
	}
	globe := b.w.p.GlobeRadius
	give(4, beyond((phi-b.w.limbus)*globe-0.5*b.w.p.LimbusWidth, softLimbus))
	back := geom.Smoothstep(math.Pi/2-geom.Radians(softBack), math.Pi/2+geom.Radians(softBack), phi)
	out[7], left = left*back, left*(1-back)
	azimuth := math.Atan2(math.Abs(cy), cx*b.w.p.nasal()) // from the direction of the nose
	nose := 1 - geom.Smoothstep(math.Acos(0.75)-geom.Radians(softNose), math.Acos(0.75)+geom.Radians(softNose), azimuth)
	nose *= geom.Smoothstep(geom.Radians(55-softNose), geom.Radians(55+softNose), phi)
	out[6], out[5] = left*nose, left*(1-nose)
}

// mask returns the function that fills a texel of a mask, or nil where kind is none.
func (b *baker) mask(kind Kind) func(x, y int, v []float32) {
	at := -1
	for i, p := range Parts() {
		if p.Mask == kind {
			at = i
		}
	}
	if at < 0 && kind != MaskIris {
		return nil
	}
	return func(x, y int, v []float32) {
		var s [8]float64
		u, w := b.place(x, y)
		b.shares(u, w, &s)
		if at < 0 {
			v[0] = float32(min(1, s[1]+s[2]+s[3]))
		} else {
			v[0] = float32(s[at])
		}
	}
}

// Preview fills a picture of n by n pixels that shows every part in its colour, blended by the masks: sRGB, 3 channels a pixel,
// rows from the top.
func (e *Eye) Preview(n int) []uint8 {
	b := &baker{canvas: &canvas{c: e.chart, ir: e.iris, w: &white{p: &e.Params, limbus: math.Asin(e.Params.LimbusRadius / e.Params.GlobeRadius)}, n: n, zoom: 1}}
	parts := Parts()
	pix := make([]uint8, 3*n*n)
	parallel.Runs(n, 4, func(y0, y1 int) {
		var s [8]float64
		for y := y0; y < y1; y++ {
			for x := range n {
				u, w := b.place(x, y)
				b.shares(u, w, &s)
				for k := range 3 {
					sum := 0.0
					for i := range parts {
						sum += s[i] * colour.DecodeSRGB(float64(parts[i].Colour[k])/255)
					}
					pix[3*(y*n+x)+k] = uint8(255*colour.EncodeSRGB(min(1, sum)) + 0.5)
				}
			}
		}
	})
	return pix
}
