package eye

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

func bakeColour(p *Params, c *chart, ir *iris) *texture.Image {
	n := p.MapSize
	pix := make([]float32, n*n*3)
	parallel(n, 16, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range n {
				u, v := (float64(x)+0.5)/float64(n)-0.5, 0.5-(float64(y)+0.5)/float64(n)
				rho := math.Hypot(u, v)
				k := geom.Smoothstep(0.24, 0.27, rho)
				a := colour.Lerp(colour.RGB{0.15, 0.12, 0.08}, p.ScleraColour, k)
				for i := range 3 {
					pix[(y*n+x)*3+i] = float32(a[i])
				}
			}
		}
	})
	return texture.NewImage(n, n, 3, pix)
}
