package scene

import (
	"errors"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/scene/eye"
	"catchlight/scene/lids"
)

// Params turns the description into the numbers of the built eye.
func (d *Eye) Params() (eye.Params, error) {
	q := eye.Defaults()
	pat, err := eye.Pattern(d.Iris.Pattern)
	if err != nil {
		return q, err
	}
	dye := func(pat eye.IrisPattern) eye.IrisPattern {
		for _, m := range []*float64{&pat.PupillaryPigment, &pat.CiliaryPigment, &pat.OuterPigment} {
			*m = min(4, *m*d.Iris.Pigment)
		}
		for i := range pat.StromaHue {
			pat.StromaHue[i] = min(3, pat.StromaHue[i]*d.Iris.Tint[i])
		}
		return pat
	}
	q.Pattern = dye(pat)
	if s := d.Iris.Sector; s != nil {
		other, err := eye.Pattern(s.Pattern)
		if err != nil {
			return q, err
		}
		q.Sector = eye.Sector{Pattern: dye(other), At: s.Angle, Width: s.Width}
	}
	q.Zones = eye.Grades{Collarette: d.Iris.Collarette, Ciliary: d.Iris.Ciliary, Margin: d.Iris.Margin}
	if q.PupilShape, err = eye.PupilShape(d.Iris.PupilShape); err != nil {
		return q, err
	}
	q.PupilAspect, q.Arcus, q.Cloud = d.Iris.PupilAspect, d.Iris.Arcus, d.Cornea.Clouding
	q.ScleraColour, q.Redness, q.Mottling, q.Generic = d.Sclera.BaseColour, d.Sclera.Redness, d.Sclera.Mottling, d.Sclera.ToneDown
	q.IrisShare, q.MeshDetail = d.IrisShare, eye.DetailFor(d.Globe.FacetError, d.Cornea.Radius)
	q.GlobeRadius = d.Globe.Radius
	q.CorneaRadius, q.Asphericity = d.Cornea.Radius, d.Cornea.Asphericity
	q.LimbusRadius, q.LimbusWidth, q.LimbusReach = d.Limbus.Radius, d.Limbus.Width, d.Limbus.ReachOr(true)
	q.IrisDepth, q.IrisRelief = d.Iris.Depth, d.Iris.Relief
	q.PupilDiameter, q.PupilOffset, q.PupilClosed = d.Iris.Pupil, d.Iris.PupilOffset, d.Iris.PupilClosed
	q.WobbleSlopeCornea, q.WobbleSlopeSclera, q.WobbleSize = d.Cornea.Wobble, d.Sclera.Wobble, d.Cornea.WobbleSize
	if d.Side == "left" {
		q.Left = true
		q.PupilOffset[0] = -q.PupilOffset[0]
	}
	q.Veins, q.Paint = d.Sclera.Veins, d.Paint
	q.Seed = uint64(d.Seed)
	q.MapSize = d.MapSize
	return q, nil
}

// Params turns the description into the numbers of the grown lids of an eye, in units of their scale.
func (l *Lids) Params(e *Eye) lids.Params {
	globe := 0.0
	if e.Asset == nil {
		globe = e.Globe.Radius / l.Scale
	}
	return lids.Params{
		Outer: l.Outer, Inner: l.Inner, UpperPeak: l.UpperPeak, LowerPeak: l.LowerPeak, Blink: l.Blink, Globe: globe, Height: l.Height, Cover: l.Cover, Iris: e.Limbus.Radius / l.Scale, Tilt: l.Tilt, Rim: l.Margin, Gap: l.Gap,
		Crease: l.Crease, Fold: l.Fold, Age: l.Age, Colour: l.Skin.Colour, Lines: l.Skin.Lines, Pores: l.Skin.Pores, Freckles: l.Skin.Freckles,
		UpperLash: l.Lashes.UpperLength, LowerLash: l.Lashes.LowerLength, LashDensity: l.Lashes.Density, LashWidth: l.Lashes.Width,
		LashCurl: l.Lashes.Curl, LashEu: l.Lashes.Eumelanin, LashPh: l.Lashes.Pheomelanin,
		BrowDensity: l.Brow.Density, BrowLength: l.Brow.Length, BrowThick: l.Brow.Thickness, BrowWidth: l.Brow.Width,
		BrowHeight: l.Brow.Height, BrowArch: l.Brow.Arch, BrowEu: l.Brow.Eumelanin, BrowPh: l.Brow.Pheomelanin,
		DownDensity: l.Down.Density, DownLength: l.Down.Length, DownThick: l.Down.Thickness, DownBare: l.Down.Bare, DownReach: l.Down.Reach, DownEu: l.Down.Eumelanin, DownPh: l.Down.Pheomelanin,
		Tears: l.TearLine, Asymmetry: l.Asymmetry, Seed: uint64(l.Seed), Detail: l.FacetSize,
	}
}

// eyeKeys says which key of an eye gives a parameter of the built one.
var eyeKeys = map[string]string{
	"GlobeRadius": "globe.radius", "CorneaRadius": "cornea.radius", "Asphericity": "cornea.asphericity",
	"LimbusRadius": "limbus.radius", "LimbusWidth": "limbus.width", "IrisDepth": "iris.depth", "IrisRelief": "iris.relief",
	"PupilDiameter": "iris.pupil", "PupilOffset": "iris.pupil_offset", "PupilAspect": "iris.pupil_aspect", "PupilShape": "iris.pupil_shape",
	"WobbleSize": "cornea.wobble_size", "WobbleSlopeCornea": "cornea.wobble", "WobbleSlopeSclera": "sclera.wobble",
	"ScleraColour": "sclera.base_colour", "Redness": "sclera.redness", "Mottling": "sclera.mottling", "Veins": "sclera.veins",
	"Generic": "sclera.tone_down", "Arcus": "iris.arcus", "Cloud": "cornea.clouding", "IrisShare": "iris_share",
	"MeshDetail": "globe.facet_error", "MapSize": "map_size", "Paint": "paint",
}

// lidKeys says which key of an object gives a parameter of the lids.
var lidKeys = map[string]string{
	"Outer": "lids.outer", "Inner": "lids.inner", "UpperPeak": "lids.upper_peak", "LowerPeak": "lids.lower_peak", "Blink": "lids.blink", "Height": "lids.height", "Cover": "lids.cover", "Iris": "lids.scale", "Tilt": "lids.tilt", "Rim": "lids.margin",
	"Gap": "lids.gap", "Crease": "lids.crease", "Fold": "lids.fold", "Age": "lids.age", "Colour": "lids.skin.colour",
	"Lines": "lids.skin.lines", "Pores": "lids.skin.pores", "Freckles": "lids.skin.freckles",
	"UpperLash": "lids.lashes.upper_length", "LowerLash": "lids.lashes.lower_length", "LashDensity": "lids.lashes.density",
	"LashCurl": "lids.lashes.curl", "LashEu": "lids.lashes.eumelanin", "LashPh": "lids.lashes.pheomelanin",
	"BrowDensity": "lids.brow.density", "BrowLength": "lids.brow.length", "BrowThick": "lids.brow.thickness", "BrowWidth": "lids.brow.width",
	"BrowHeight": "lids.brow.height", "BrowArch": "lids.brow.arch", "BrowEu": "lids.brow.eumelanin", "BrowPh": "lids.brow.pheomelanin",
	"DownDensity": "lids.down.density", "DownLength": "lids.down.length", "DownThick": "lids.down.thickness", "DownBare": "lids.down.bare", "DownReach": "lids.down.reach", "DownEu": "lids.down.eumelanin",
	"DownPh":    "lids.down.pheomelanin",
	"LashWidth": "lids.lashes.width", "Tears": "lids.tear_line", "Asymmetry": "lids.asymmetry", "Spacing": "pair", "Detail": "lids.facet_size",
}

// built checks that the numbers of a built eye and of its lids go together, so that what loads can be built.
func (r relation) built(p *Object) {
	if p.Eye.Asset == nil {
		q, err := p.Eye.Params()
		if err == nil {
			err = q.Check()
		}
		r.params(err, eyeKeys)
	} else if p.Eye.Asset.Borrow {
		q := eye.Defaults()
		q.Paint = p.Eye.Paint
		r.params(q.Check(), eyeKeys)
	}
	if p.Lids != nil && p.Lids.On {
		q := p.Lids.Params(p.Eye)
		r.params(q.Check(), lidKeys)
	}
}

// params notes errors of parameters at the keys that give them: at the first of each that the file has.
func (r relation) params(err error, keys map[string]string) {
	if err == nil {
		return
	}
	list := []error{err}
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		list = joined.Unwrap()
	}
	for _, err := range list {
		var names []string
		text := err.Error()
		var pe *eye.ParamError
		var pl *lids.ParamError
		switch {
		case errors.As(err, &pe):
			names, text = pe.Names, pe.Text
		case errors.As(err, &pl):
			names, text = pl.Names, pl.Text
		}
		key := ""
		for _, n := range names {
			n, _, _ = strings.Cut(n, "[")
			n, _, _ = strings.Cut(n, ".")
			if k := keys[n]; k != "" && (key == "" || r.has(k) && !r.has(key)) {
				key = k
			}
		}
		r.add(r.placeOf(key), join(r.path, key), "", "%s", text)
	}
}

// has reports whether the file gives a key below the block.
func (r relation) has(path string) bool {
	n := r.n
	for _, k := range strings.Split(path, ".") {
		if n = n.get(k); n == nil {
			return false
		}
	}
	return true
}

// placeOf returns where a key below the block is written, or the nearest block around it.
func (r relation) placeOf(path string) place {
	n, at := r.n, r.n.at
	for _, k := range strings.Split(path, ".") {
		next := n.get(k)
		if next == nil {
			return at
		}
		at = n.keyPlace(k)
		n = next
	}
	return at
}

// origin names the file that an eye comes from.
func (r relation) origin() string {
	if f := r.n.get("asset").get("file").show(); f != "" {
		return shorten(filepath.Base(f))
	}
	return "a file, as it has an asset"
}

// idle notes every key that is given but can't act on an eye from a file: nothing is taken without effect.
func (r relation) idle(b *block, n *node, path string, borrows bool) {
	for _, e := range n.list() {
		f := b.field(e.key)
		if f == nil {
			continue
		}
		key := join(path, e.key)
		switch {
		case len(f.acts) > 0 && !(borrows && slices.Contains(f.acts, "borrowed")):
			hint := ""
			if slices.Contains(f.acts, "borrowed") {
				hint = ", or that borrows from it (asset.borrow)"
			}
			r.add(e.at, join(r.path, key), "", "acts only on an eye that is built here%s; this one comes from %s", hint, r.origin())
		case f.kind == group && f.within > 0 || f.kind == group && path != "":
			r.idle(f.block, e.value, key, borrows)
		}
	}
}
