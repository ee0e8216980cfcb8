package lids

import (
	"math"

	"catchlight/scene/geom"
)

// Where the face ends, in a right eye's socket, mm: the box about it goes round onto the temple, up to the hair and down to the
// nostrils. A pair's skins meet at the middle of the nose, a single eye's ends there.
const (
	temple, chin, hairline = -58.0, -50.0, 56.0
	edgeFrom               = 0.5  // where on the way to the border the skin begins to go over into the dark
	edgeTone               = 0.02 // what is left of its colour at the border
)

// border is the box about the face of a socket whose nose ends at far: x from 0 to 1, y from 2 to 3.
func border(far float64) [4]float64 { return [4]float64{temple, far, chin, hairline} }

// faded darkens a skin's colours toward the border along a rounded oval, so that a wide frame shows no cut edge but a face
// that comes out of the dark: pix has one texel for each but the last of the w vertices of a row.
func (s *socket) faded(skin []geom.Vec, pix []float32, w int, joined bool) {
	left, right := temple, s.g.far
	if joined {
		right = 2*s.g.far - temple // the other eye's temple
	}
	for i, v := range skin {
		if i%w == w-1 {
			continue
		}
		v = s.socketOf(v)
		x, y := (2*v.X-left-right)/(right-left), (2*v.Y-chin-hairline)/(hairline-chin)
		k := 1 - geom.Smoothstep(edgeFrom, 1, math.Pow(math.Abs(x), 2.5)+math.Pow(math.Abs(y), 2.5))
		if k == 1 {
			continue
		}
		k = edgeTone + (1-edgeTone)*k
		for c := range 3 {
			pix[3*(i/w*(w-1)+i%w)+c] *= float32(k)
		}
	}
}
