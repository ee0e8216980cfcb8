package eye

import (
	"math"

	"catchlight/scene/geom"
)

// chart lays the eye out in the texture plane: one azimuthal map about the optical axis, u to the right (+X) and v
// down (-Y), the axis in the middle. The distance rho from the middle is proportional to the half chord out to the
// limbus, at share, and from there falls off smoothly to 1/2 at the back pole.
type chart struct {
	globe, limbus, width float64
	share                float64 // rho at the limbus
	perMM                float64 // rho per mm of half chord inside the limbus
	s0                   float64 // sin(phi/2) at the limbus
	beta                 float64 // fall-off that makes rho's slope continuous there
	blend0, blend1       float64 // half chords between which the look-up turns from parallel to radial
	deep0, deep1         float64 // heights between which it turns so under the iris
	fade                 float64 // height over which the iris zone fades in above the equator
}

func newChart(p *Params, irisZ float64) *chart {
	c := &chart{globe: p.GlobeRadius, limbus: p.LimbusRadius, width: p.LimbusWidth, share: p.IrisShare / 2}
	c.perMM = c.share / c.limbus
	sin := c.limbus / c.globe
	cos := math.Sqrt(1 - sin*sin)
	c.s0 = math.Sqrt((1 - cos) / 2)
	// On the sphere rho = share sin(phi)/sin0 has slope share cos0/sin0; beyond, with x = (s-s0)/(1-s0) and
	// s = sin(phi/2), rho = share + (1/2-share) (1+beta) x/(1+beta x), whose slope there is matched.
	dx := 0.5 * math.Sqrt((1+cos)/2) / (1 - c.s0)
	c.beta = c.share*cos/sin/((0.5-c.share)*dx) - 1
	c.blend0 = c.limbus + c.width/2
	c.blend1 = min(c.blend0+2, 0.5*(c.blend0+c.globe))
	c.deep0, c.deep1 = 0.35*irisZ, 0.7*irisZ
	c.fade = 0.25 * c.globe
	return c
}

// rho returns the distance from the middle of the map for a point at half chord r and height z; both may lie inside
// the volume. Inside the limbus it looks straight up along the axis, elsewhere away from the centre of the globe.
func (c *chart) rho(r, z float64) float64 {
	w := geom.Smoothstep(c.blend0, c.blend1, r)
	if z < c.deep1 {
		w += (1 - w) * (1 - geom.Smoothstep(c.deep0, c.deep1, z))
	}
	if w == 0 && r <= c.limbus {
		return r * c.perMM
	}
	cos := 1.0
	if w < 1 {
		q := r / c.globe
		cos = math.Sqrt(max(0, 1-q*q))
	}
	if w > 0 {
		d := math.Sqrt(r*r + z*z)
		radial := 1.0
		if d > 0 {
			radial = z / d
		}
		cos += w * (radial - cos)
	}
	return c.radial(cos)
}

// radial returns the distance from the middle of the map for a direction from the globe's centre with that cosine.
func (c *chart) radial(cos float64) float64 {
	s := math.Sqrt(max(0, (1-cos)/2))
	if s <= c.s0 {
		return c.perMM * c.globe * 2 * s * math.Sqrt(1-s*s)
	}
	x := (s - c.s0) / (1 - c.s0)
	return c.share + (0.5-c.share)*(1+c.beta)*x/(1+c.beta*x)
}

// uv returns the place in the map of a point on or in the eye.
func (c *chart) uv(p geom.Vec) geom.UV {
	r := math.Sqrt(p.X*p.X + p.Y*p.Y)
	if r == 0 {
		return geom.UV{U: 0.5 + c.rho(0, p.Z), V: 0.5}
	}
	k := c.rho(r, p.Z) / r
	return geom.UV{U: 0.5 + k*p.X, V: 0.5 - k*p.Y}
}

// polar inverts rho on the scleral sphere: it returns the sine and cosine of the polar angle, rho in [0, 1/2].
func (c *chart) polar(rho float64) (sin, cos float64) {
	if rho <= c.share {
		sin = rho / (c.perMM * c.globe)
		return sin, math.Sqrt(1 - sin*sin)
	}
	f := (rho - c.share) / (0.5 - c.share)
	x := f / (1 + c.beta*(1-f))
	s := min(1, c.s0+x*(1-c.s0))
	return 2 * s * math.Sqrt(1-s*s), 1 - 2*s*s
}

// zone returns the weight of the iris zone at p and its gradient in 1/mm.
func (c *chart) zone(p geom.Vec) (w float64, g geom.Vec) {
	if p.Z <= 0 {
		return 0, geom.Vec{}
	}
	r := math.Sqrt(p.X*p.X + p.Y*p.Y)
	t, dt := quintic((r - (c.limbus - c.width/2)) / c.width)
	w = 1 - t
	if w == 0 {
		return 0, geom.Vec{}
	}
	if dt > 0 {
		k := -dt / (c.width * r)
		g = geom.Vec{X: k * p.X, Y: k * p.Y}
	}
	if p.Z < c.fade {
		f, df := quintic(p.Z / c.fade)
		g = g.Mul(f)
		g.Z = w * df / c.fade
		w *= f
	}
	return w, g
}
