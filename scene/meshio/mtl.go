package meshio

import (
	"errors"
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/texture"
)

// look is a material of a library, and how its colour map is laid on.
type look struct {
	asset.Material
	scale, offset geom.UV // of texture coordinates that run up
}

// material returns the look, or the default one for none.
func (k *look) material() asset.Material {
	if k == nil {
		return plain("").Material
	}
	return k.Material
}

// move lays a texture coordinate, which runs down, as the colour map's options say.
func (k *look) move(uv geom.UV) geom.UV {
	if k == nil {
		return uv
	}
	return geom.UV{U: uv.U*k.scale.U + k.offset.U, V: 1 - ((1-uv.V)*k.scale.V + k.offset.V)}
}

// plain is what a material is before its library says more.
func plain(name string) *look {
	return &look{Material: asset.Material{Name: name, BaseColour: colour.Grey(1), Roughness: 1, IOR: 1.5, NormalScale: 1,
		AttenuationDistance: math.Inf(1), AttenuationColour: colour.Grey(1)}, scale: geom.UV{U: 1, V: 1}}
}

// library reads what an mtllib statement names: one file, whose name may hold blanks, or several.
func (o *objReader) library(name string) {
	text, err := o.beside(name)
	if err == nil {
		o.mtl(name, text)
		return
	}
	words := strings.Fields(name)
	if len(words) == 1 {
		o.note("the material library %v; its materials are left out", err)
		return
	}
	for _, w := range words {
		if text, err := o.beside(w); err != nil {
			o.note("the material library %v; its materials are left out", err)
		} else {
			o.mtl(w, text)
		}
	}
}

// mtl reads a material library. What is wrong in it is a warning: the shapes are sound without it. Colours are taken
// as linear. Kd is the colour, Ns gives the roughness, Ni the index, d or Tr what passes; map_Kd is the colour map,
// norm a normal map, and so is a bump map that looks like one. Illumination models and other colours are passed over.
//
// Long: one case a keyword of the format.
func (o *objReader) mtl(file, text string) {
	l := lines{text: text}
	if !l.skipMark() {
		o.note("the material library %.100q is in UTF-16, must be UTF-8; its materials are left out", file)
		return
	}
	var k *look
	warn := func(format string, args ...any) {
		o.note("%.100s, line %d: "+format, append([]any{file, l.n}, args...)...)
	}
	bound := false // a colour map has been laid on
	unread := map[string]bool{}
	for {
		line, ok := l.next()
		if !ok {
			return
		}
		key, rest := field(line)
		if i := strings.IndexByte(rest, '#'); i >= 0 {
			rest = rest[:i]
		}
		if key == "" || key[0] == '#' {
			continue
		}
		if key == "newmtl" {
			name := strings.TrimSpace(rest)
			if o.materials[name] != nil {
				warn("a second material %.100q; the first counts", name)
			}
			k, bound = plain(name), false
			if o.materials[name] == nil {
				o.materials[name] = k
			}
			if len(o.materials) > MaxParts {
				warn("more than %d materials; the rest is not read", MaxParts)
				return
			}
			continue
		}
		if k == nil {
			warn("%.40q before any newmtl is not read", key)
			continue
		}
		// number reads one value within a range.
		number := func(low, high float64) (float64, bool) {
			var x [1]float64
			n, bad := numbers(rest, x[:])
			if bad != "" || n < 1 || x[0] < low || x[0] > high {
				warn("%s %.40s is outside [%g, %g] and is not used", key, strings.TrimSpace(rest), low, high)
				return 0, false
			}
			return x[0], true
		}
		switch strings.ToLower(key) {
		case "kd":
			var x [3]float64
			n, bad := numbers(rest, x[:])
			if n == 1 {
				x[1], x[2] = x[0], x[0]
			}
			if bad != "" || n == 0 || n == 2 || min(x[0], x[1], x[2]) < 0 || max(x[0], x[1], x[2]) > 1 {
				warn("Kd %.60s: wants 1 or 3 numbers in [0, 1]; it is not used", strings.TrimSpace(rest))
				continue
			}
			k.BaseColour = colour.RGB(x)
		case "ns":
			if x, ok := number(0, 1e6); ok {
				// Walter et al., Microfacet Models for Refraction, EGSR 2007: a Phong exponent of 2/alpha^2 - 2.
				k.Roughness = math.Sqrt(math.Sqrt(2 / (x + 2)))
			}
		case "ni":
			if x, ok := number(1, 4); ok {
				k.IOR = x
			}
		case "d":
			rest = strings.Replace(rest, "-halo", "", 1)
			if x, ok := number(0, 1); ok {
				k.Transmission = 1 - x
			}
		case "tr":
			if x, ok := number(0, 1); ok {
				k.Transmission = x
			}
		case "map_kd":
			p := o.mapLine(rest, warn)
			if k.BaseMap = o.picture(p.file, true, warn); k.BaseMap == nil {
				continue
			}
			bound = true
			k.Wrap, k.scale, k.offset = p.wrap, p.scale, p.offset
			if p.base != 0 {
				warn("-mm: only the gain is used, not the base value %g", p.base)
			}
			k.BaseColour = k.BaseColour.Scale(p.gain)
		case "norm", "map_bump", "bump":
			p := o.mapLine(rest, warn)
			im := o.picture(p.file, false, warn)
			if im == nil {
				continue
			}
			if strings.ToLower(key) != "norm" && !likeNormals(im) {
				warn("the bump map %.100q is a map of heights; give it in the scene as a height with its scale in mm", p.file)
				continue
			}
			if bound && (p.scale != k.scale || p.offset != k.offset || p.wrap != k.Wrap) {
				warn("the normal map is laid on as the colour map is")
			}
			k.NormalMap, k.NormalScale = im, p.bump
		case "disp", "map_disp":
			warn("the displacement map %.100q has no unit; give it in the scene as a height with its scale in mm", o.mapLine(rest, warn).file)
		case "ka", "ks", "ke", "tf", "illum", "sharpness", "map_ka", "map_aat":
		default:
			if !unread[key] && len(unread) < 32 {
				unread[key] = true
				warn("%.40q is not read", key)
			}
		}
	}
}

// mapOptions is a map statement: a file and how it is laid on.
type mapOptions struct {
	file          string
	scale, offset geom.UV
	wrap          texture.Wrap
	base, gain    float64
	bump          float64
}

// mapLine reads the options of a map statement; the rest of the line is the file's name, which may hold blanks.
func (o *objReader) mapLine(rest string, warn func(string, ...any)) mapOptions {
	p := mapOptions{scale: geom.UV{U: 1, V: 1}, gain: 1, bump: 1}
	for {
		w, tail := field(rest)
		if len(w) < 2 || w[0] != '-' {
			p.file = strings.TrimSpace(rest)
			return p
		}
		// up to three numbers behind the option
		var x [3]float64
		n := 0
		behind := tail
		for n < 3 {
			v, after := field(behind)
			f, err := strconv.ParseFloat(v, 64)
			if err != nil || math.IsNaN(f) || math.Abs(f) > 1e6 {
				break
			}
			x[n], behind = f, after
			n++
		}
		word, afterWord := field(tail)
		switch w {
		case "-s", "-o", "-t":
			if n == 0 {
				warn("%s wants 1 to 3 numbers", w)
			}
			uv := geom.UV{U: x[0], V: x[1]}
			switch {
			case w == "-s":
				if n == 1 {
					uv.V = 1
				}
				p.scale = uv
			case w == "-o":
				p.offset = uv
			case x != [3]float64{}:
				warn("turbulence (-t) is not read")
			}
			rest = behind
		case "-mm":
			if n >= 2 {
				p.base, p.gain = x[0], max(0, x[1])
				_, rest = field(tail)
				_, rest = field(rest)
			} else {
				warn("-mm wants 2 numbers")
				rest = behind
			}
		case "-bm":
			if n >= 1 {
				p.bump = x[0]
			}
			_, rest = field(tail)
		case "-clamp":
			if word == "on" {
				p.wrap = texture.Clamp
			}
			rest = afterWord
		case "-blendu", "-blendv", "-cc", "-boost", "-texres", "-imfchan", "-type":
			rest = afterWord
		default:
			warn("the map's option %.40q is not known", w)
			rest = tail
		}
	}
}

// picture reads the picture of a map, or warns and returns nil.
func (o *objReader) picture(name string, srgb bool, warn func(string, ...any)) *texture.Image {
	if name == "" {
		warn("the map names no file")
		return nil
	}
	text, err := o.beside(name)
	if err != nil {
		warn("the picture %v; it is left out", err)
		return nil
	}
	p, err := imageio.ReadBytes(filepath.Base(name), []byte(text))
	if err == nil {
		if o.texels += p.W * p.H; o.texels > MaxTexels {
			err = errors.New("more texels in all pictures than are read")
		}
	}
	if err != nil {
		warn("the picture %v; it is left out", err)
		return nil
	}
	return p.Image(srgb)
}

// likeNormals reports whether a picture looks like tangent-space normals: on the mean blue, and neither red nor green.
func likeNormals(im *texture.Image) bool {
	if _, _, c := im.Size(); c < 3 {
		return false
	}
	m := texture.FromImage(im, texture.Repeat)
	mean := m.Mean()
	return mean[2] > 0.7 && math.Abs(mean[0]-0.5) < 0.15 && math.Abs(mean[1]-0.5) < 0.15
}
