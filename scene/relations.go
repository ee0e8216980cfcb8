package scene

import (
	"errors"
	"math"
	"path/filepath"
	"reflect"
	"strings"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/plinth"
)

// maxPixels is the largest picture, so that a typing mistake can't ask for all memory.
const maxPixels = 100_000_000

// relations checks what holds between the keys of one block. sound says that every key by itself is right; what
// compares values waits for that, while missing alternatives are reported at once.
func (d *decoder) relations(v reflect.Value, n *node, path string, sound bool) {
	r := relation{d, n, path}
	switch p := v.Addr().Interface().(type) {
	case *Description:
		r.description(p, sound)
	case *Picture:
		if sound && p.Width*p.Height > maxPixels {
			r.at("height", "%d x %d is more than %d million pixels", p.Width, p.Height, maxPixels/1_000_000)
		}
	case *Camera:
		r.camera(p, sound)
	case *Light:
		r.light(p, sound)
	case *Object:
		r.object(p, sound)
		r.morphs(p.Morph)
	case *Material:
		r.material(p)
	case *Medium:
		r.medium()
	case *Iris:
		r.tissue(p.SigmaA, p.SigmaS, "colour", "scatter_radius")
	case *Sclera:
		r.tissue(p.SigmaA, p.SigmaS, "colour", "tint", "scatter_radius")
	case *Raster:
		if sound {
			r.raster(p)
		}
	case *Card:
		if sound {
			r.card(p)
		}
	case *MapSpec:
		r.surfaceMap(p)
	case *View:
		if p.Table != nil && r.given("tone_mapping") {
			r.at(r.later("tone_mapping", "table"), "give either tone_mapping or table, not both")
		}
	case *ViewTable:
		switch {
		case p.Input == "log2":
			r.need("low", "input log2 wants low and high")
			r.need("high", "input log2 wants low and high")
			if p.Low != nil && p.High != nil && !(*p.Low < *p.High) {
				r.at("high", "%g is not above low, which is %g", *p.High, *p.Low)
			}
		case p.Low != nil || p.High != nil:
			r.add(r.n.at, r.path, "", "low and high are for input log2 alone")
		}
	case *Asset:
		if sound && p.Axis == (geom.Vec{}) {
			r.at("axis", "has no direction")
		}
		r.morphs(p.Morph)
		r.unit(p.File, p.Unit)
		if p.Relief > 0 && !p.Borrow {
			r.at("relief", "is the built-in eye's: set borrow")
		}
		if p.Outer == "" && p.Inner == "" {
			r.at("outer", "missing, and so is inner: name the nodes that are the shells")
		} else if !p.Borrow {
			r.need("outer", "name the node that is the outer shell, or set borrow")
			r.need("inner", "name the node that is the inner shell, or set borrow")
		}
	case *OpacityMask:
		if p.Blend && r.given("threshold") {
			r.at(r.later("threshold", "blend"), "give either threshold or blend, not both")
		}
	case *Gaze:
		if p.Target != nil && (r.given("azimuth") || r.given("elevation")) {
			r.at("target", "give either target or azimuth and elevation, not both")
		}
		if p.Target != nil && r.given("distance") {
			r.at("distance", "a target has its own; leave one of them out")
		}
		if p.Distance > 0 && p.Distance < nearestGaze {
			r.at("distance", "%g mm is outside 0 and [%g, 1e+06]", p.Distance, float64(nearestGaze))
		}
	}
}

// nearestGaze is the nearest point that a pair may look at, mm: about where the eyes of the young can't turn in further.
const nearestGaze = 50

// relation reports on the keys of one block.
type relation struct {
	*decoder
	n    *node
	path string
}

// at notes a problem with a key; an absent key is located at its block.
func (r relation) at(key, format string, args ...any) {
	r.add(r.n.keyPlace(key), join(r.path, key), "", format, args...)
}

// morphs notes a morph target that is set twice.
func (r relation) morphs(list []Morph) {
	seen := map[string]bool{}
	for _, m := range list {
		if seen[m.Target] && m.Target != "" {
			r.at("morph", "sets the target %s twice", shorten(m.Target))
		}
		seen[m.Target] = true
	}
}

// given reports whether a key is in the file.
func (r relation) given(key string) bool { return r.n.get(key) != nil }

// oneOf wants exactly one of several sets of keys, and that one whole.
func (r relation) oneOf(sets ...[]string) {
	var names, begun []string
	whole := true
	for _, set := range sets {
		names = append(names, strings.Join(set, " and "))
		count, last := 0, ""
		for _, key := range set {
			if r.given(key) {
				count, last = count+1, key
			}
		}
		if count > 0 {
			begun, whole = append(begun, last), whole && count == len(set)
		}
	}
	switch {
	case len(begun) == 0:
		r.add(r.n.at, r.path, "", "give %s", listing(names, "or"))
	case len(begun) > 1:
		r.at(r.later(begun[0], begun[1]), "give either %s, not both", listing(names, "or"))
	case !whole:
		r.at(begun[0], "give %s", listing(names, "or"))
	}
}

// later returns the one of two given keys that comes later in the file, or in the overrides.
func (r relation) later(a, b string) string {
	p, q := r.n.keyPlace(a), r.n.keyPlace(b)
	if p.order > q.order || p.order == q.order && (p.line > q.line || p.line == q.line && p.column > q.column) {
		return a
	}
	return b
}

// need wants a key, for the reason given.
func (r relation) need(key, reason string) {
	if !r.given(key) {
		r.at(key, "missing, %s", reason)
	}
}

func (r relation) description(p *Description, sound bool) {
	if !sound {
		return
	}
	for i := range p.Lights {
		if p.Lights[i].On && p.Lights[i].Kind != "flag" {
			return
		}
	}
	for i := range p.Objects {
		if p.Objects[i].On && p.Objects[i].Shape != "eye" && p.Objects[i].Material.Kind == "emissive" {
			return
		}
	}
	r.at("lights", "nothing shines: no light is on and no object is emissive")
}

func (r relation) camera(p *Camera, sound bool) {
	if p.Kind == "plate" {
		r.need("normal", "a plate wants the direction that it faces")
	} else if r.given("position") || r.given("orbit") {
		r.oneOf([]string{"position"}, []string{"orbit"})
	} else {
		for _, key := range []string{"target", "focal_length", "fov", "width", "focus_distance"} {
			if r.given(key) {
				r.at(key, "only beside position or orbit: without them the camera frames what there is")
			}
		}
	}
	if p.FocusOn != "distance" && p.FocusOn != "" && r.given("focus_distance") {
		r.at(r.later("focus_distance", "focus_on"), "give either focus_distance or focus_on %s, not both", p.FocusOn)
	}
	if r.given("fov") && r.given("focal_length") {
		r.at(r.later("focal_length", "fov"), "give either focal_length or fov, not both")
	}
	if !sound {
		return
	}
	var toward geom.Vec
	switch {
	case p.Up == geom.Vec{}:
		r.at("up", "has no direction")
		return
	case p.Kind == "plate" && p.Normal != nil:
		if toward = *p.Normal; toward == (geom.Vec{}) {
			r.at("normal", "has no direction")
			return
		}
	case p.Position != nil:
		if toward = p.Target.Sub(*p.Position); toward == (geom.Vec{}) {
			r.at("position", "is the point that the camera looks at")
			return
		}
	case p.Orbit != nil:
		toward = p.Orbit.Direction()
	default:
		return
	}
	if across := toward.Cross(p.Up).Len(); across <= 1e-6*toward.Len()*p.Up.Len() {
		r.at("up", "lies along the line of sight, so nothing is up")
	}
}

// Direction returns the unit direction from the aim to the place on the orbit.
func (o *Orbit) Direction() geom.Vec {
	sinA, cosA := math.Sincos(o.Azimuth * math.Pi / 180)
	sinE, cosE := math.Sincos(o.Elevation * math.Pi / 180)
	return geom.Vec{X: sinA * cosE, Y: sinE, Z: cosA * cosE}
}

func (r relation) light(p *Light, sound bool) {
	switch p.Kind {
	case "environment":
		r.need("file", "an environment wants a picture")
	case "constant":
		r.need("radiance", "a constant light wants it")
	case "rectangle", "disc", "sphere":
		r.oneOf([]string{"radiance"}, []string{"power"})
		r.oneOf([]string{"position"}, []string{"orbit"})
	case "flag":
		r.oneOf([]string{"position"}, []string{"orbit"})
	case "distant":
		r.oneOf([]string{"radiance"}, []string{"irradiance"})
		r.need("orbit", "a distant light wants its direction")
	}
	if !sound {
		return
	}
	if p.Position != nil && *p.Position == p.Target && p.Kind != "sphere" {
		r.at("position", "is the point that the light faces")
	}
	if p.Kind == "rectangle" {
		across, down := p.Bar*float64(p.Panes[0]-1), p.Bar*float64(p.Panes[1]-1)
		if across >= p.Width || down >= p.Height {
			r.at("bar", "%g mm leaves no room for the panes", p.Bar)
		}
	}
	if q := p.Profile; q != nil && q.Core == 0 && q.Edge == 0 {
		r.at("profile", "core and edge are both 0, so nothing shines")
	}
	if p.Power != nil && p.Tint.Black() {
		r.at("tint", "is black, so power can't be split by it")
	}
}

func (r relation) object(p *Object, sound bool) {
	if p.Shape == "mesh" {
		r.need("file", "a mesh wants one")
		r.unit(p.File, p.Unit)
	}
	if p.Shape != "eye" {
		p.Eye = nil
	}
	if p.Eye != nil && p.Eye.Asset != nil {
		if !r.has("iris.pupil") {
			p.Eye.Iris.Pupil = 0
		}
		r.idle(schema().field("objects").block, r.n, "", p.Eye.Asset.Borrow)
	}
	if !sound {
		return
	}
	if p.Eye != nil {
		r.built(p)
	}
	if p.Pair != 0 && p.Pair < 50 {
		r.at("pair", "%g mm is too near for two eyes in lids and a nose: 0, or 50 and more", p.Pair)
	}
	if p.Shape == "plinth" {
		r.plinth(p)
	}
	if m := &p.Material; p.Shape != "mesh" {
		for _, q := range []struct {
			key string
			on  bool
		}{{"from_file", m.FromFile}, {"normal", m.Normal != nil}, {"height", m.Height != nil}} {
			if q.on {
				r.at("material", "%s is for meshes alone, not for a %s", q.key, p.Shape)
			}
		}
		if m.Kind == "tears" {
			r.at("material", "only a mesh can be tears, not a %s", p.Shape)
		}
	} else if n := m.Normal; n != nil && n.UvSet != nil || m.Height != nil && m.Height.UvSet != nil {
		r.at("material", "only maps of an eye choose their texture coordinates (uv_set); a mesh has those of its own material")
	}
	flat := p.Shape == "rectangle" || p.Shape == "disc"
	switch m := &p.Material; {
	case m.Kind == "emissive" && !flat && p.Shape != "sphere":
		r.at("material", "only a sphere, a rectangle or a disc can be emissive, not a %s", p.Shape)
	case m.Inside != nil && flat:
		r.at("material", "a %s has no inside", p.Shape)
	case (m.Kind == "matched" || m.Kind == "tissue") && flat:
		r.at("material", "a %s has no inside, so it can't be %s", p.Shape, m.Kind)
	}
}

// plinth checks that the measures make a body.
func (r relation) plinth(p *Object) {
	m := p.Measures()
	var e *plinth.Error
	if !errors.As(m.Check(), &e) {
		return
	}
	if e.Key == "depth" {
		r.at("plinth", "%v", e)
		return
	}
	r.at(e.Key, "%s", e.Text)
}

// unit is for formats that state none. Whether it is missing shows when the file is read, so that the message can say
// what each would make of it.
func (r relation) unit(file Path, unit string) {
	if end := strings.ToLower(filepath.Ext(string(file))); unit != "" && (end == ".glb" || end == ".gltf") {
		r.at("unit", "glTF files are in metres by their standard; leave unit out")
	}
}

func (r relation) material(p *Material) {
	switch p.Kind {
	case "emissive":
		r.need("radiance", "an emissive material wants it")
	case "matched":
		r.need("inside", "a matched material is only what is inside")
	}
}

// surfaceMap checks the keys that colours of an eye alone have.
func (r relation) surfaceMap(p *MapSpec) {
	r.oneOf([]string{"value"}, []string{"file"})
	iris := strings.HasSuffix(r.path, "iris.colour")
	if eye := iris || strings.HasSuffix(r.path, "sclera.colour"); !eye {
		if p.Shell == "outer" {
			r.at("shell", "only colours of an eye lie on one of two shells")
		}
		if p.UvSet != nil {
			r.at("uv_set", "only maps of an eye choose their texture coordinates; a mesh has those of its own material")
		}
	}
	if p.Painted == "seen" && !iris {
		r.at("painted", "seen is for iris.colour alone; the sclera's colour is always as seen, other colours are bare")
	}
}

func (r relation) medium() {
	r.oneOf([]string{"sigma_a", "sigma_s"}, []string{"colour", "mean_free_path"})
}

// tissue checks the coefficients of an eye's zone, which stand in for the keys named.
func (r relation) tissue(a, s *colour.RGB, instead ...string) {
	given := r.given("sigma_a") || r.given("sigma_s")
	if !given {
		return
	}
	r.need("sigma_a", "sigma_s wants it too")
	r.need("sigma_s", "sigma_a wants it too")
	for _, key := range instead {
		if r.given(key) {
			r.at(key, "give either sigma_a and sigma_s or %s, not both", key)
		}
	}
	if a == nil || s == nil {
		return
	}
	for c := range a {
		if a[c]+s[c] == 0 {
			r.at("sigma_s", "sigma_a and sigma_s are both 0 in one channel, so there is no tissue")
			return
		}
	}
}
