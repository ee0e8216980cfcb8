package scene

// Raster holds the settings of the raster look, each part a switch of its own.
type Raster struct {
	Samples    int    `key:"samples" range:"[1,8]" default:"4" doc:"coverage samples per pixel: 1, 2, 4 or 8"`
	Reflection string `key:"reflection" oneof:"none|prefiltered" default:"prefiltered" doc:"surroundings mirrored: none, or a prefiltered map and a table of responses (split sum)"`
	Ambient    string `key:"ambient" oneof:"none|harmonics" default:"harmonics" doc:"diffuse light of the surroundings: none, or spherical harmonics"`
	Order      int    `key:"harmonics_order" range:"[0,2]" default:"2" doc:"highest order of the spherical harmonics; 2 has nine coefficients"`
	Lights     string `key:"lights" oneof:"none|polygons" default:"polygons" doc:"light of rectangles, discs, spheres and distant discs: none, or polygons with a transformed cosine for gloss"`
	Iris       string `key:"iris" oneof:"straight|offset|refracted" default:"refracted" doc:"iris behind the cornea: along the straight ray, at a cheap offset, or where the refracted ray meets the relief"`
	Prefilter  int    `key:"prefilter_size" unit:"px" range:"[16,2048]" default:"512" doc:"side of the prefiltered map; a power of two"`
	Texture    int    `key:"texture_size" unit:"px" range:"[64,8192]" default:"2048" doc:"side of the colour and relief maps"`
	Bits       int    `key:"texture_bits" range:"[8,32]" default:"32" doc:"bits a channel of the colour map: 8 (sRGB), 16 or 32"`
	Anisotropy int    `key:"anisotropy" range:"[1,16]" default:"8" doc:"most probes of a texture look-up along a footprint's long axis"`
}

// raster checks the numbers that come in steps.
func (r relation) raster(p *Raster) {
	if n := p.Samples; n&(n-1) != 0 {
		r.at("samples", "%d is none of 1, 2, 4, 8", n)
	}
	if n := p.Prefilter; n&(n-1) != 0 {
		r.at("prefilter_size", "%d is no power of two", n)
	}
	if n := p.Bits; n != 8 && n != 16 && n != 32 {
		r.at("texture_bits", "%d is none of 8, 16, 32", n)
	}
}
