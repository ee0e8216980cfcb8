package scene

import "catchlight/scene/colour"

// Raster holds the settings of the raster look, each part a switch of its own.
//
// A budget is a file of these keys that stands for what a device can spend; what the scene gives itself takes precedence over it.
type Raster struct {
	Budget          string  `key:"budget" default:"" doc:"budget whose keys hold where the scene gives none: lean, middle, full, or a .yaml file of keys of raster; without it the defaults here, which are those of full"`
	Triangles       int     `key:"triangles" range:"[0,4000000]" default:"0" source:"neutral: changes nothing" doc:"most triangles of an eye's outer shell: a low mesh with normals baked from the fine one; 0 draws the scene's own"`
	CoverageSamples int     `key:"coverage_samples" range:"[1,8]" default:"8" source:"common practice, no published source" doc:"coverage samples per pixel: 1, 2, 4 or 8"`
	Reflection      string  `key:"reflection" oneof:"none|prefiltered" default:"prefiltered" doc:"surroundings mirrored: none, or a prefiltered map and a table of responses (split sum)"`
	Ambient         string  `key:"ambient" oneof:"none|harmonics" default:"harmonics" doc:"diffuse light of the surroundings: none, or spherical harmonics"`
	HarmonicsOrder  int     `key:"harmonics_order" range:"[0,2]" default:"2" source:"Ramamoorthi and Hanrahan, SIGGRAPH 2001: nine coefficients hold 99 % of diffuse light" doc:"highest order of the spherical harmonics; 2 has nine coefficients"`
	Lights          string  `key:"lights" oneof:"none|polygons" default:"polygons" doc:"light of rectangles, discs, spheres and distant discs: none, or polygons with a transformed cosine for gloss"`
	Iris            string  `key:"iris" oneof:"straight|offset|refracted" default:"refracted" doc:"iris behind the cornea: along the straight ray, at a cheap offset, or where the refracted ray meets the relief"`
	Glints          string  `key:"glints" oneof:"none|lamps|cards|both" default:"lamps" doc:"what shines in the tear film: the lights themselves, painted cards, or both"`
	Cards           []Card  `key:"cards" doc:"bright cards that nothing but the tear film mirrors"`
	Shadow          string  `key:"shadow" oneof:"none|hard|soft|contact" default:"contact" doc:"shadow maps: none, unfiltered, filtered by one width, or softer with distance"`
	ShadowSize      int     `key:"shadow_size" unit:"px" range:"[16,8192]" default:"2048" source:"common practice, no published source" doc:"side of a shadow map"`
	Caustic         string  `key:"caustic" oneof:"none|gradient|baked" default:"baked" doc:"light that the cornea focuses on the iris: even, a gradient away from the light, or baked maps"`
	Scattering      string  `key:"scattering" oneof:"none|bent|screen" default:"screen" doc:"scattering below the sclera: none, integrated beforehand by curvature, or spread over the picture"`
	ScatteringTaps  int     `key:"scattering_taps" range:"[3,65]" default:"25" source:"common practice, no published source" doc:"taps of each of the two passes of screen; odd"`
	Occlusion       string  `key:"occlusion" oneof:"none|baked" default:"baked" doc:"surroundings hidden by other objects and by the relief of the iris"`
	LimbalDarkening float64 `key:"limbal_darkening" range:"[0,1]" default:"0" source:"neutral: changes nothing" doc:"painted darkening of the iris toward the limbus"`
	Glare           float64 `key:"glare" range:"[0,1]" default:"0" source:"neutral: changes nothing" doc:"share of light that glare spreads over the picture; the eye's own is 0.6"`
	GlareField      float64 `key:"glare_field" unit:"degrees" range:"[0.1,120]" default:"20" source:"our own choice" doc:"angle that the picture's width spans for who looks at it"`
	PrefilterSize   int     `key:"prefilter_size" unit:"px" range:"[16,2048]" default:"512" source:"common practice, no published source" doc:"side of the prefiltered map; a power of two"`
	TextureSize     int     `key:"texture_size" unit:"px" range:"[64,8192]" default:"2048" source:"common practice, no published source" doc:"side of the colour and relief maps"`
	TextureBits     int     `key:"texture_bits" range:"[8,32]" default:"32" source:"our own choice" doc:"bits a channel of the colour map: 8 (sRGB), 16 or 32"`
	Anisotropy      int     `key:"anisotropy" range:"[1,16]" default:"8" source:"common practice, no published source" doc:"most probes of a texture look-up along a footprint's long axis"`
}

// Card is a bright rectangle far away that only the tear film mirrors.
type Card struct {
	Name      string     `key:"name" default:"required" doc:"its own name"`
	Fixed     string     `key:"fixed" oneof:"world|camera" default:"camera" doc:"what it keeps its place to; a card fixed to the camera never leaves the eye"`
	Direction Direction  `key:"direction" doc:"where it stands: from the world's +Z, or from the camera"`
	Width     float64    `key:"width" unit:"degrees" range:"(0,120]" default:"30" source:"our own, by eye" doc:"width as seen from the eye"`
	Height    float64    `key:"height" unit:"degrees" range:"(0,120]" default:"40" source:"our own, by eye" doc:"height as seen from the eye"`
	Roll      float64    `key:"roll" unit:"degrees" range:"[-360,360]" default:"0" source:"neutral: changes nothing" doc:"turns it about its own normal"`
	Panes     [2]int     `key:"panes" range:"[1,64]" default:"[2, 3]" source:"our own, by eye" doc:"panes across and down"`
	Bar       float64    `key:"bar" unit:"degrees" range:"[0,60]" default:"1.5" source:"our own, by eye" doc:"width of the bars between panes"`
	Radiance  colour.RGB `key:"radiance" unit:"W/(m^2 sr)" range:"[0,1e12]" default:"[15, 15, 15]" source:"our own, by eye" doc:"radiance of its panes"`
}

// raster checks the numbers that come in steps.
func (r relation) raster(p *Raster) {
	if n := p.CoverageSamples; n&(n-1) != 0 {
		r.at("coverage_samples", "%d is none of 1, 2, 4, 8", n)
	}
	if n := p.PrefilterSize; n&(n-1) != 0 {
		r.at("prefilter_size", "%d is no power of two", n)
	}
	if n := p.ScatteringTaps; n%2 == 0 {
		r.at("scattering_taps", "%d is even", n)
	}
	if n := p.TextureBits; n != 8 && n != 16 && n != 32 {
		r.at("texture_bits", "%d is none of 8, 16, 32", n)
	}
}

// card checks that the panes of a card have room between their bars.
func (r relation) card(p *Card) {
	if float64(p.Panes[0]-1)*p.Bar >= p.Width || float64(p.Panes[1]-1)*p.Bar >= p.Height {
		r.at("bar", "%g degrees between %d x %d panes leave no room for them", p.Bar, p.Panes[0], p.Panes[1])
	}
}
