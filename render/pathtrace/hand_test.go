package pathtrace

import (
	"math"
	"testing"

	"catchlight/material/microfacet"
	"catchlight/material/tissue"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"

	"github.com/stretchr/testify/require"
)

// tearIndex is the index of tears (Bennett and Rabbetts, Clinical Visual Optics, from memory).
const tearIndex = 1.336

// everything is the tracer's switches as a user finds them.
var everything = frozen.Settings{
	MaxDepth: 64, Manifold: true, Split: true, LightSamples: true, Guided: true,
	Refraction: true, Caustic: true, Scattering: true, TearFilm: true, Shadow: true,
}

// stage is a hand-made scene without lights, a tracer over it and a film of one pixel.
type stage struct {
	t   *Tracer
	out film.Sample
}

// ball is a sphere of 1 mm about the origin.
func ball(m frozen.Material) frozen.Object {
	a := geom.Identity()
	return frozen.Object{
		Shape: frozen.Sphere, ToWorld: a, ToLocal: a, Scale: 1, Size: geom.Vec{X: 1, Y: 1, Z: 1}, Closed: true, Eye: -1,
		Bounds: geom.Box{Lo: geom.Vec{X: -1, Y: -1, Z: -1}, Hi: geom.Vec{X: 1, Y: 1, Z: 1}},
		Mask:   frozen.CameraRays | frozen.ShadowRays | frozen.ReflectionRays, Material: m,
	}
}

func newStage(t testing.TB, set frozen.Settings, eyes []frozen.Eye, objects ...frozen.Object) *stage {
	f, err := film.New(film.Config{Width: 1, Height: 1, SPP: 1})
	require.NoError(t, err)
	return &stage{New(&frozen.Scene{Objects: objects, Eyes: eyes, Settings: set}, 1), f.Sample()}
}

// at returns a path of weight 1 that comes to the origin from wo, the surface there with its normal along z, and moves the
// sampler to sample i.
func (s *stage) at(i int, wo geom.Vec) (p path, sf frozen.Surface) {
	s.t.smp.Start(0, 0, uint32(i))
	s.t.n = 0
	p = path{ray: geom.Ray{O: wo, D: wo.Neg()}, beta: colour.Grey(1), vertex: 1, mask: frozen.ShadowRays, eye: -1}
	return p, frozen.Surface{Ng: geom.Vec{Z: 1}, Ns: geom.Vec{Z: 1}, Eps: 1e-6}
}

// from is the unit vector at a cosine to z, at some azimuth.
func from(c float64) geom.Vec {
	s := math.Sqrt(1 - c*c)
	return geom.Vec{X: 0.8 * s, Y: -0.6 * s, Z: c}
}

// tearEye is an eye whose tear film has that roughness (GGX alpha) all over.
func tearEye(alpha float64) frozen.Eye {
	e := frozen.Eye{Index: tearIndex, ReflectIndex: tearIndex, AlphaCornea: alpha, AlphaSclera: alpha, LimbusRadius: 6, LimbusWidth: 1, ForceCoat: true}
	e.Prepare()
	e.PrepareRough(true)
	return e
}

// whiteFlesh is white flesh under a coat of tears of that roughness, plain diffuse below it where solid.
func whiteFlesh(alpha float64, solid bool) frozen.Material {
	f := &frozen.Flesh{Sigma: colour.RGB{0.5, 1, 2}, Alpha: colour.Grey(1), Top: colour.Grey(1), Coat: tissue.NewCoat(tearIndex), Solid: solid}
	if alpha >= microfacet.MinAlpha {
		r := frozen.NewRoughCoat(alpha, &f.Coat)
		f.Rough = &r
	}
	return frozen.Material{Kind: frozen.Soft, Colour: texture.Constant(colour.Grey(1)), Alpha: alpha, Flesh: f}
}

// glossyFlesh is whiteFlesh, plain under a coat with lobes of alpha and twice alpha, of that oil and with a relief of that slope along x.
func glossyFlesh(alpha, slope, oil float64) frozen.Material {
	m := whiteFlesh(alpha, true)
	g := frozen.NewGloss(microfacet.Pair{A: alpha, B: min(2*alpha, 0.9), Part: 0.4}, &m.Flesh.Coat)
	g.Sheen = texture.Constant(colour.RGB{0, oil, 1})
	if slope > 0 {
		g.Tilt, g.Square = texture.Constant(colour.RGB{slope, 0, 0}), texture.Constant(colour.Grey(slope*slope))
	}
	m.Flesh.Gloss = g
	return m
}

// glass is a rough interface of that index.
func glass(index, alpha float64) frozen.Material {
	m := frozen.Material{Kind: frozen.Dielectric, Index: index, Alpha: alpha}
	for _, eta := range []float64{index, 1 / index} {
		m.Rough = append(m.Rough, frozen.RoughSide{Eta: eta, Share: microfacet.NewBalance(alpha, eta, func(c float64) float64 { return fresnelByHand(c, eta) })})
	}
	return m
}

// fresnelByHand is the reflectance of an interface for light that is not polarised, at cosine c on the side it comes from;
// n is the index of the far side over that of the near side.
//
// Source: Born and Wolf, Principles of Optics, section 1.5.2: sin^2 and tan^2 of the angles' difference over those of their sum,
// and ((n-1)/(n+1))^2 straight on.
func fresnelByHand(c, n float64) float64 {
	if c > 1-1e-12 {
		return (n - 1) * (n - 1) / ((n + 1) * (n + 1))
	}
	i := math.Acos(c)
	s := math.Sin(i) / n
	if s >= 1 {
		return 1
	}
	r := math.Asin(s)
	across, along := math.Sin(i-r)/math.Sin(i+r), math.Tan(i-r)/math.Tan(i+r)
	return (across*across + along*along) / 2
}

// grid calls f at the middles of n x 2n cells of equal solid angle over the sphere.
func grid(n int, f func(d geom.Vec, solid float64)) {
	for i := range n {
		z := 1 - (float64(i)+0.5)/float64(n)*2
		s := math.Sqrt(1 - z*z)
		for j := range 2 * n {
			b, a := math.Sincos((float64(j) + 0.5) / float64(n) * math.Pi)
			f(geom.Vec{X: s * a, Y: s * b, Z: z}, 4*math.Pi/float64(2*n*n))
		}
	}
}
