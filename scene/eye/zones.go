package eye

import (
	"math"

	"catchlight/scene/colour"
)

// Zone says how a zone of the iris departs from what its pattern and paint make of it. Its tags are those of a scene file.
type Zone struct {
	Hue        float64 `key:"hue" unit:"degrees" range:"[-180,180]" default:"0" source:"neutral: changes nothing" doc:"turns its colours about the axis of greys, at the same luminance: positive from red toward green"`
	Brightness float64 `key:"brightness" unit:"EV" range:"[-4,4]" drag:"[-2,2]" default:"0" source:"neutral: changes nothing" doc:"stops of its albedo"`
	Contrast   float64 `key:"contrast" range:"[0,3]" default:"1" source:"neutral: changes nothing" doc:"spread of its light and dark about its mean, in ratios: 0 is even, 2 is twice the stops"`
}

// Grades are those of the three rings of the iris, which share each place of it: within the collarette, the ciliary zone, and the outermost
// millimetre.
type Grades struct {
	Collarette, Ciliary, Margin Zone
}

// EvenZones change nothing.
func EvenZones() Grades {
	z := Zone{Contrast: 1}
	return Grades{z, z, z}
}

// shares returns how much of a pixel belongs to each zone: they add up to 1.
func (t *tissue) shares(at int) [3]float64 {
	in := float64(t.inner[at])
	out := float64(t.outer[at]) * (1 - in)
	return [3]float64{in, 1 - in - out, out}
}

// The least and most that iris tissue has as albedo in a channel here.
const leastAlbedo, mostAlbedo = 0.02, 0.5

// graded changes the colours by zone. They stay within the albedos that iris tissue has here.
func (t *tissue) graded(z *Grades, colours []colour.RGB) {
	if *z == EvenZones() || *z == (Grades{}) {
		return
	}
	var logs, sums [3]float64 // of luminance, by zone
	for at, c := range colours {
		if t.s[at] < 0 {
			continue
		}
		l := math.Log(c.Luminance())
		for k, w := range t.shares(at) {
			logs[k] += w * l
			sums[k] += w
		}
	}
	all := [3]*Zone{&z.Collarette, &z.Ciliary, &z.Margin}
	for at, c := range colours {
		if t.s[at] < 0 {
			continue
		}
		var sum colour.RGB
		for k, w := range t.shares(at) {
			if w > 0 {
				sum = sum.Add(all[k].of(c, math.Exp(logs[k]/sums[k])).Scale(w))
			}
		}
		for i := range sum {
			sum[i] = min(mostAlbedo, max(leastAlbedo, sum[i]))
		}
		colours[at] = sum
	}
}

// of returns a colour as the zone changes it; mean is the zone's luminance in the geometric mean.
func (z *Zone) of(c colour.RGB, mean float64) colour.RGB {
	l := c.Luminance()
	return turned(c, z.Hue).Scale(math.Exp2(z.Brightness) * math.Pow(l/mean, z.Contrast-1))
}

// turned returns a colour with its hue turned: red, green and blue as a vector, about the axis of greys (Rodrigues' formula), cut at
// 0 and brought back to its luminance.
func turned(c colour.RGB, degrees float64) colour.RGB {
	if degrees == 0 {
		return c
	}
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	grey := (c[0] + c[1] + c[2]) / 3 * (1 - cos)
	var out colour.RGB
	for i := range out {
		before, after := c[(i+2)%3], c[(i+1)%3]
		out[i] = max(0, c[i]*cos+(before-after)*sin/math.Sqrt(3)+grey)
	}
	return out.Scale(c.Luminance() / out.Luminance())
}
