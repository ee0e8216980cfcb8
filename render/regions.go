package render

import (
	"math"
	"slices"
	"strings"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/render/imgcmp"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
)

// Zone is what a pixel shows, as far as pictures of eyes are judged by it.
type Zone uint8

// The zones. A pixel is in one of them alone: where light mirrored in the tear film outshines the rest it is Catchlight,
// whatever lies behind.
const (
	Backdrop Zone = iota // no object
	Around               // objects that are no eye
	Pupil
	Iris
	Limbus
	Sclera
	Catchlight
	Zones
)

var zoneNames = [Zones]string{"backdrop", "around", "pupil", "iris", "limbus", "sclera", "catchlight"}

// String returns the zone's name in files.
func (z Zone) String() string { return zoneNames[min(z, Zones-1)] }

// Regions says for each pixel of a picture, row by row from the top left, what it shows.
type Regions struct {
	Width, Height int
	Zone          []Zone
	Eye           []int16  // index into Eyes; -1 for none
	Eyes          []string // names of the eyes
}

// Mask returns the pixels of a zone, of one eye or, with eye -1, of all.
func (r *Regions) Mask(z Zone, eye int) imgcmp.Mask {
	m := make(imgcmp.Mask, len(r.Zone))
	for i, q := range r.Zone {
		m[i] = q == z && (eye < 0 || int(r.Eye[i]) == eye)
	}
	return m
}

// A pixel counts as catchlight where the tear film mirrors a source at least so many times as bright as the median over the
// eye, and shows it at least so bright after exposure. Common practice, no published source.
const (
	glintRatio = 4
	glintLeast = 0.02
)

// Regions tells the zones of all pixels by rays through their middles: at an eye through the cornea, bent, to the tissue
// behind it. Iris and sclera are where the tissue is wholly so, the limbus is where the two blend. The catchlight is where
// lights are mirrored, grown by a pixel for the reach of the pixel filter; mirrored objects are taken as dark.
func (p *Prepared) Regions(o Options) *Regions {
	w, h := p.Description.Picture.Width, p.Description.Picture.Height
	r := &Regions{Width: w, Height: h, Zone: make([]Zone, w*h), Eye: make([]int16, w*h), Eyes: p.EyeNames()}
	source, shown := make([]float64, w*h), make([]float64, w*h) // luminance before and after the mirror, W/(m^2 sr)
	parallel.With(h, o.workers(), accel.NewScratch, func(sc *accel.Scratch, y int) {
		for x := range w {
			i := y*w + x
			px, py := float64(x)+0.5, float64(y)+0.5
			if r.Zone[i], r.Eye[i] = p.zone(sc, px, py); r.Eye[i] < 0 {
				continue
			}
			for k := range 4 {
				l, f := p.glint(sc, px-0.25+0.5*float64(k%2), py-0.25+0.5*float64(k/2))
				source[i], shown[i] = source[i]+l/4, shown[i]+f*l/4
			}
		}
	})
	for e := range r.Eyes {
		var all []float64
		for i, l := range source {
			if int(r.Eye[i]) == e {
				all = append(all, l)
			}
		}
		if len(all) == 0 {
			continue
		}
		slices.Sort(all)
		median, least := all[len(all)/2], glintLeast*math.Exp2(-p.Description.View.Exposure)
		for i, l := range source {
			if int(r.Eye[i]) != e || l < glintRatio*median || shown[i] < least {
				continue
			}
			for y := max(i/w-1, 0); y <= min(i/w+1, h-1); y++ {
				for x := max(i%w-1, 0); x <= min(i%w+1, w-1); x++ {
					if j := y*w + x; int(r.Eye[j]) == e {
						r.Zone[j] = Catchlight
					}
				}
			}
		}
	}
	return r
}

// EyeNames returns the names of the scene's eyes.
func (p *Prepared) EyeNames() (names []string) {
	for i := range p.Scene.Eyes {
		names = append(names, strings.TrimSuffix(p.Scene.Objects[p.Scene.Eyes[i].Outer].Name, ".outer"))
	}
	return names
}

// zone tells what lies behind a film position, but for catchlights, and of which eye.
func (p *Prepared) zone(sc *accel.Scratch, px, py float64) (Zone, int16) {
	s := p.seen(sc, px, py)
	if len(s) == 0 {
		return Backdrop, -1
	}
	eye := p.Scene.Objects[s[0].Object].Eye
	if eye < 0 {
		return Around, -1
	}
	e := &p.Scene.Eyes[eye]
	last := s[len(s)-1]
	at := p.Scene.Objects[last.Object].ToLocal.Point(last.P)
	w := e.TissueZone(at)
	// What absorbs, lies behind the globe's middle or isn't there is the pupil where one looks in through the cornea.
	hollow := len(s) == 1 && p.Scene.Objects[last.Object].Material.Kind == frozen.Outer
	dark := hollow || last.Part != mesh.Tissue || at.Z <= 0
	switch {
	case dark && e.TissueZone(p.Scene.Objects[s[0].Object].ToLocal.Point(s[0].P)) > 0:
		return Pupil, int16(eye)
	case w >= 1:
		return Iris, int16(eye)
	case w > 0:
		return Limbus, int16(eye)
	}
	return Sclera, int16(eye)
}

// glint returns the luminance of the lights that an eye's outer shell mirrors into a film position, 0 where there is none, and
// the share that it mirrors. The film is taken as smooth.
func (p *Prepared) glint(sc *accel.Scratch, px, py float64) (l, share float64) {
	o, d, _ := p.Scene.Camera.Ray(px, py, 0.5, 0.5)
	r := geom.Ray{O: o, D: d}
	var h frozen.Hit
	if !p.Scene.Intersect(sc, r, 0, math.Inf(1), frozen.CameraRays, false, &h) || h.Object < 0 {
		return 0, 0
	}
	b := &p.Scene.Objects[h.Object]
	if b.Eye < 0 || b.Material.Kind != frozen.Outer {
		return 0, 0
	}
	e := &p.Scene.Eyes[b.Eye]
	s := p.Scene.Surface(r, &h)
	n := s.Ns
	if e.Normal.Valid() {
		n = p.Scene.MappedNormal(&s, &e.Normal, e.NormalGain)
	}
	at := p.Scene.Objects[h.Object].ToLocal.Point(s.P)
	n = e.FilmNormal(b, n, at, e.Zone(at))
	cos := -d.Dot(n)
	if cos <= 0 {
		return 0, 0
	}
	m := geom.Reflect(d.Neg(), n).Unit()
	if m.Dot(s.Ng) <= 0 {
		return 0, 0
	}
	f := e.Reflectance(cos)
	r = geom.Ray{O: s.Leave(m), D: m}
	if p.Scene.Intersect(sc, r, 0, math.Inf(1), frozen.ReflectionRays, true, &h) {
		if h.Object >= 0 {
			return 0, 0
		}
		return p.Scene.Lights[h.Light].Radiance(r.At(h.T), m.Neg()).Luminance(), f
	}
	for _, q := range p.Scene.Lights {
		l += q.RadianceDir(m).Luminance()
	}
	return l, f
}
