package render

import (
	"context"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/light"
	"catchlight/render/accel"
	"catchlight/scene/geom"
)

var (
	humansBare   = []string{"ferry_keeper", "salt_widow", "dyke_warden", "reed_cutter"}
	humansLidded = []string{"ferry_keeper_lidded", "salt_widow_lidded", "dyke_warden_lidded", "reed_cutter_lidded"}
)

func join(lists ...[]string) (out []string) {
	for _, l := range lists {
		out = append(out, l...)
	}
	return out
}

func init() {
	const practice = "common practice, no published source"
	measurePhotographs(
		photoMeasure{what: "key, sr", scenes: join(humansBare, humansLidded), lo: 0.03, hi: 0.1, source: practice, of: keySize},
		photoMeasure{what: "catchlight over white, by the mirror law", scenes: join(humansBare, humansLidded), lo: 0.7, hi: 1.3, source: "Fresnel and Lambert: F pi L/(rho E), F 0.022, rho 0.5", of: mirrorLaw},
		photoMeasure{what: "catchlight over white", scenes: join(humansBare, humansLidded), lo: 1.5, hi: 5, source: practice, of: overWhite},
		photoMeasure{what: "white where most lit, of 255", scenes: join(humansBare, humansLidded), lo: 150, hi: 175, source: practice, of: litWhite},
		photoMeasure{what: "catchlight's core, of 255", scenes: join(humansBare, humansLidded), lo: 250, hi: 255, source: practice, of: catchlightCore},
		photoMeasure{what: "pixels of 250 and more, %", scenes: join(humansBare, humansLidded), lo: 0.02, hi: 0.2, source: practice, of: burntOut},
		photoMeasure{what: "pupil, darkest fiftieth, of 255", scenes: join(humansBare, humansLidded), lo: 6, hi: 24, source: practice, of: pupilCode(0.02)},
		photoMeasure{what: "pupil, brightest fiftieth, of 255", scenes: join(humansBare, humansLidded), lo: 36, hi: 90, source: practice, of: pupilCode(0.98)},
		photoMeasure{what: "outline over the millimetre inside it", scenes: []string{"dyke_warden", "reed_cutter"}, lo: math.Inf(-1), hi: 1.1, source: practice, of: outlineRatio},
		photoMeasure{what: "far over near iris, key at 45 degrees", scenes: []string{"ferry_keeper"}, lo: 1.3, hi: 2.5, source: practice, of: farOverNear},
	)
	photoRemains["white where most lit, of 255, reed_cutter_lidded"] = "176 on 29 November 2026: a twentieth of a stop too light"
	photoRemains["pupil, brightest fiftieth, of 255, reed_cutter_lidded"] = "the boathouse beside the door is dark, and the lids shade it"
	photoRemains["pixels of 250 and more, %"] = "in lids catchlights are 3 pixels wide here"
	photoRemains["far over near iris, key at 45 degrees"] = "the eye's own; with this one small key there is no fill to blame"
}

// key returns the finite light that brings the eye most, by its place in the scene's lights.
func (s *photograph) key() (l *light.Light, at geom.Vec, ok bool) {
	at = s.p.Scene.Objects[s.p.Scene.Eyes[0].Outer].ToWorld.Point(geom.Vec{Z: 8})
	for _, q := range s.p.Scene.Lights {
		if q.Finite() && (l == nil || q.Irradiance(at) > l.Irradiance(at)) {
			l = q
		}
	}
	return l, at, l != nil
}

// keySize is the solid angle of the key's open part as seen from the eye.
func keySize(_ *testing.T, s *photograph) (float64, bool) {
	l, at, ok := s.key()
	if !ok {
		return 0, false
	}
	return keySolid(l, at), true
}

// keySolid counts the share of all directions about the light's middle that show it shining.
func keySolid(l *light.Light, at geom.Vec) float64 {
	r, _ := l.Rim(at)
	fr, least := geom.NewFrame(r.Points[0].Sub(at).Unit()), math.Cos(min(math.Pi/2, r.Radius))
	const n = 400
	lit := 0
	for i := range n * n {
		cos := 1 - (1-least)*(float64(i/n)+0.5)/n
		sin, phi := math.Sqrt(1-cos*cos), 2*math.Pi*(float64(i%n)+0.5)/n
		d := fr.World(geom.Vec{X: sin * math.Cos(phi), Y: sin * math.Sin(phi), Z: cos})
		if _, p, _, ok := l.Intersect(at, d, 0, math.Inf(1)); ok && !l.Radiance(p, d.Neg()).Black() {
			lit++
		}
	}
	return 2 * math.Pi * (1 - least) * float64(lit) / (n * n)
}

// onCornea lists the pixels in which the cornea mirrors light of the given least radiance all over, and the mean radiance of that light.
func (s *photograph) onCornea(least float64) (out []int, source float64) {
	sc := accel.NewScratch()
	w := s.regions.Width
	for i, z := range s.regions.Zone {
		if z != Catchlight {
			continue
		}
		x, y := float64(i%w)+0.5, float64(i/w)+0.5
		all, sum := true, 0.0
		for k := range 16 {
			l, _ := s.p.glint(sc, x-0.75+0.5*float64(k%4), y-0.75+0.5*float64(k/4))
			all, sum = all && l >= least, sum+l/16
		}
		front := s.p.seen(sc, x, y)
		if b := &s.p.Scene.Objects[front[0].Object]; all && s.p.Scene.Eyes[b.Eye].Zone(b.ToLocal.Point(front[0].P)) > 0.99 {
			out, source = append(out, i), source+sum
		}
	}
	return out, source / float64(max(1, len(out)))
}

// whiteLit returns the pixels of the white that are most lit: its upper twentieth.
func (s *photograph) whiteLit() (out []int) {
	all := s.inZone(Sclera, 1)
	var l []float64
	for _, i := range all {
		l = append(l, s.linear.Mean[i].Luminance())
	}
	// The very brightest are mirrored rims.
	lo, hi := quantile(l, 0.9), quantile(l, 0.97)
	for k, i := range all {
		if l[k] >= lo && l[k] <= hi {
			out = append(out, i)
		}
	}
	return out
}

// catchlight returns the luminance that the cornea mirrors of the key, less what lies behind it, that of the white where it is most lit,
// and what the law makes of their ratio: F pi L/(rho E), with L what those pixels of the cornea mirror and E the irradiance of the white by
// all lights, a plain sum over samples, nothing in their way.
func (s *photograph) catchlight() (mirrored, white, law float64, ok bool) {
	l, at, ok := s.key()
	if !ok {
		return 0, 0, 0, false
	}
	core, source := s.onCornea(0.3 * l.Irradiance(at) * 4 / keySolid(l, at))
	lit := s.whiteLit()
	if len(core) == 0 || len(lit) == 0 {
		return 0, 0, 0, false
	}
	e := 0.0
	sc := accel.NewScratch()
	var n geom.Vec
	for _, i := range lit {
		white += s.linear.Mean[i].Luminance() / float64(len(lit))
		n = n.Add(s.p.seen(sc, float64(i%s.regions.Width)+0.5, float64(i/s.regions.Width)+0.5)[0].Ns)
	}
	n = n.Unit()
	const samples = 4096
	for _, q := range s.p.Scene.Lights {
		for k := range samples {
			_, u := math.Modf(0.5 + float64(k)*0.7548776662466927) // the lattice of Roberts (2018)
			_, v := math.Modf(0.5 + float64(k)*0.5698402909980532)
			if w, ok := q.Sample(at, u, v); ok && w.Pdf > 0 {
				e += w.L.Luminance() * max(0, w.Wi.Dot(n)) / w.Pdf / samples
			}
		}
	}
	for _, i := range core {
		mirrored += s.linear.Mean[i].Luminance() / float64(len(core))
	}
	var behind []float64
	for _, i := range append(s.inZone(Iris, 0), s.inZone(Pupil, 0)...) {
		behind = append(behind, s.linear.Mean[i].Luminance())
	}
	const fresnel, rho = 0.022, 0.5
	return mirrored - quantile(behind, 0.5), white, fresnel * math.Pi * source / (rho * e), true
}

// mirrorLaw returns how much of the catchlight over the white is there that the law says; without other lights than an even key that is
// F pi/(rho Omega cos theta).
func mirrorLaw(_ *testing.T, s *photograph) (float64, bool) {
	mirrored, white, law, ok := s.catchlight()
	return mirrored / white / law, ok
}

func overWhite(_ *testing.T, s *photograph) (float64, bool) {
	mirrored, white, _, ok := s.catchlight()
	return mirrored / white, ok
}

func litWhite(_ *testing.T, s *photograph) (float64, bool) {
	sum, white := 0.0, s.whiteLit()
	for _, i := range white {
		sum += s.code(i)
	}
	return sum / float64(len(white)), len(white) > 0
}

func catchlightCore(_ *testing.T, s *photograph) (float64, bool) {
	l, at, ok := s.key()
	if !ok {
		return 0, false
	}
	core, _ := s.onCornea(0.3 * l.Irradiance(at) * 4 / keySolid(l, at))
	var c []float64
	for _, i := range core {
		c = append(c, s.code(i))
	}
	return quantile(c, 0.9), len(c) > 0
}

func burntOut(_ *testing.T, s *photograph) (float64, bool) {
	n := 0
	for i := range s.regions.Zone {
		if s.code(i) >= 250 {
			n++
		}
	}
	return 100 * float64(n) / float64(len(s.regions.Zone)), true
}

// pupilCode returns a quantile over the pupil's pixels, those among them in which a lesser light than the key is mirrored: a second window
// of a twentieth to a fifth of the key belongs to what the pupil shows.
func pupilCode(q float64) func(*testing.T, *photograph) (float64, bool) {
	return func(_ *testing.T, s *photograph) (float64, bool) {
		var c []float64
		for _, i := range append(s.inZone(Pupil, 1), s.lesserInPupil()...) {
			c = append(c, s.code(i))
		}
		return quantile(c, q), len(c) > 10
	}
}

// lesserInPupil lists the pixels of catchlights before the pupil that mirror no more than a third of the key's radiance.
func (s *photograph) lesserInPupil() (out []int) {
	l, at, ok := s.key()
	if !ok {
		return nil
	}
	most := 0.33 * l.Irradiance(at) * 4 / keySolid(l, at)
	sc := accel.NewScratch()
	w := s.regions.Width
	for i, z := range s.regions.Zone {
		x, y := float64(i%w)+0.5, float64(i/w)+0.5
		if z != Catchlight {
			continue
		}
		if q, _ := s.p.zone(sc, x, y); q != Pupil {
			continue
		}
		low := true
		for k := range 16 { // the pixel filter's reach
			m, _ := s.p.glint(sc, x-1.5+float64(k%4), y-1.5+float64(k/4))
			low = low && m <= most
		}
		if low {
			out = append(out, i)
		}
	}
	return out
}

// alone renders a scene's eye without what it lies on and without light from behind, on a dark ground and without the lens's blur.
func (s *photograph) alone(t *testing.T) *photograph {
	t.Helper()
	sets := []string{"view.background=gradient", "camera.f_number=0"}
	for i := range s.p.Description.Objects {
		if o := &s.p.Description.Objects[i]; o.Shape != "eye" {
			sets = append(sets, "objects."+o.Name+".on=false")
		}
	}
	for i := range s.p.Description.Lights {
		if l := &s.p.Description.Lights[i]; l.Orbit != nil && math.Abs(l.Orbit.Azimuth) > 100 {
			sets = append(sets, "lights."+l.Name+".on=false")
		}
	}
	d, err := s.p.Description.With(sets...)
	require.NoError(t, err)
	p, err := Prepare(context.Background(), d, Options{Cache: built})
	require.NoError(t, err)
	q := &photograph{scene: s.scene, p: p, r: finish(t, p)}
	q.linear, q.regions = q.r.Film.Develop(), p.Regions(Options{})
	return q
}

// outlineRatio returns the luminance of the eye's outermost third of a millimetre over that of the half millimetre that begins 0.6 mm
// inside it: the middle one of 36 places round the clock. The eye is alone for it, without a rim light.
func outlineRatio(t *testing.T, s *photograph) (float64, bool) {
	s = s.alone(t)
	w := s.regions.Width
	c := &s.p.Description.Camera
	mm := c.FocalLength / c.SensorWidth * float64(w) / c.Orbit.Distance // pixels
	var cx, cy, n float64
	for i, z := range s.regions.Zone {
		if z != Backdrop {
			cx, cy, n = cx+float64(i%w), cy+float64(i/w), n+1
		}
	}
	cx, cy = cx/n, cy/n
	var out []float64
	for k := range 36 {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / 36)
		at := func(r float64) int { return int(cy-r*sin+0.5)*w + int(cx+r*cos+0.5) }
		r := math.Min(cx, cy) - 2
		for r > 0 && s.regions.Zone[at(r)] == Backdrop {
			r -= 0.25
		}
		if r == math.Min(cx, cy)-2 {
			continue // cut by the frame
		}
		mean := func(lo, hi float64) float64 {
			sum, n := 0.0, 0.0
			for d := lo; d < hi; d += 0.25 {
				sum, n = sum+s.linear.Mean[at(r-d)].Luminance(), n+1
			}
			return sum / n
		}
		out = append(out, mean(1, max(2, mm/3))/mean(0.6*mm, 1.1*mm))
	}
	return quantile(out, 0.5), len(out) > 12
}

// farOverNear lights the scene's eye by one square key of 0.05 sr, 45 degrees to the right and to the left in turn, looks at it from the
// front, and returns how much brighter the outer third of the iris is opposite the key than beside it, within 24 degrees of its direction. The mean of both keys takes the paint out.
func farOverNear(t *testing.T, s *photograph) (float64, bool) {
	product := 1.0
	for _, side := range []float64{-1, 1} {
		d, err := s.p.Description.With("picture.width=160", "picture.height=160", "camera.orbit={azimuth: 0, elevation: 0, distance: 1000}",
			fmt.Sprintf("lights=[{name: key, kind: rectangle, orbit: {azimuth: %g, elevation: 0, distance: 1400}, width: 313, height: 313, radiance: 30}]", 45*side))
		require.NoError(t, err)
		p, err := Prepare(context.Background(), d, Options{Cache: built})
		require.NoError(t, err)
		q := &photograph{p: p, r: finish(t, p)}
		q.linear, q.regions = q.r.Film.Develop(), p.Regions(Options{})
		iris := q.inZone(Iris, 1)
		x0, x1 := 160.0, 0.0
		for _, i := range iris {
			x0, x1 = min(x0, float64(i%160)), max(x1, float64(i%160))
		}
		var sum, n [2]float64
		for _, i := range iris {
			x, y := (float64(i%160)-(x0+x1)/2)/((x1-x0)/2), (79.5-float64(i/160))/((x1-x0)/2)
			if r := math.Hypot(x, y); r < 0.65 || r > 0.95 || math.Abs(y) > 0.45*math.Abs(x) {
				continue
			}
			k := 0
			if x*side > 0 {
				k = 1 // beside the key
			}
			sum[k], n[k] = sum[k]+q.linear.Mean[i].Luminance(), n[k]+1
		}
		product *= sum[0] / n[0] * n[1] / sum[1]
	}
	return math.Sqrt(product), true
}
