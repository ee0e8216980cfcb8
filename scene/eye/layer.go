package eye

import (
	"math"
	"reflect"
	"slices"
	"strings"

	"catchlight/scene/colour"
)

// Layer is one entry of the ordered list that paints an eye. What it paints is a field: a pure function of the place on
// the eye in mm, of the seed and of the numbers here. The list says where the field goes, how it blends and in which order.
//
// Its tags are those of a scene file; see package scene.
type Layer struct {
	Name   string  `key:"name" default:"required" doc:"its own name"`
	Kind   string  `key:"kind" oneof:"vessels|arcades|halo|redness|fat|thin|mottle|limbal-grey|limbus|freckles|ring|ruff|beads|arcus|clouding" default:"required" doc:"what it paints. On the white: vessels (a net of them), arcades (fine loops about the limbus), halo (the mask's field, blurred), redness (toward rim and corners), fat (yellowish patches), thin (grey ones), mottle (uneven all over), limbal-grey (beside the limbus). Between both: limbus (how uneven its outline is and how much wider above and below, by amount, and how wide the step is at the sides, by size). On the iris: freckles, ring (toward the root), ruff and its beads (round the pupil), arcus, clouding"`
	On     bool    `key:"on" default:"true" doc:"off leaves it out"`
	Seed   int     `key:"seed" range:"[0,2147483647]" default:"0" source:"neutral: changes nothing" doc:"added to the eye's seed"`
	Amount float64 `key:"amount" range:"[-8,8]" default:"1" source:"neutral: changes nothing" doc:"multiplies its field"`
	Mask   string  `key:"mask" default:"" doc:"name of another entry: this one is there by the share of that one's field, from 0 to 1"`
	Invert bool    `key:"invert" default:"false" doc:"this one is there where its mask is not"`
	Into   string  `key:"into" oneof:"colour|film|stroma|pigment" default:"colour" doc:"what it changes: the colour, the film that lies on top of the white, or of the iris the scattering of its stroma or its pigment, which come before all colours"`
	Blend  string  `key:"blend" oneof:"multiply|absorb|scale|add|over" default:"multiply" doc:"how, by the field f and its colour c: multiply by 1 - f (1 - c), absorb by exp(-f c), scale by 1 + f c, add f c, or over: lay c over it by the share f"`

	Colour  colour.RGB `key:"colour" range:"[0,8]" default:"[1, 1, 1]" source:"neutral: changes nothing" doc:"its colour; stroma and pigment take the red one"`
	Size    float64    `key:"size" unit:"mm" range:"[0.01,20]" default:"1" source:"our own, by eye" only:"mottle|halo|limbus" doc:"longest wavelength of mottle, blur of a halo, width of the limbus between 10 and 90 %"`
	Count   int        `key:"count" range:"[-1,4000]" default:"-1" source:"neutral: changes nothing" only:"freckles" doc:"how many; -1 is as many as the iris pattern has"`
	Trunks  int        `key:"trunks" range:"[1,400]" default:"12" source:"our own, by eye" only:"vessels|arcades" doc:"vessels that come in from behind"`
	Width   float64    `key:"width" unit:"mm" range:"[0.004,0.4]" default:"0.09" source:"10 to 100 um in the conjunctiva, trunks to 0.25 mm; from memory" only:"vessels|arcades" doc:"diameter of the widest trunk"`
	Tip     float64    `key:"tip" unit:"mm" range:"[0.004,0.4]" default:"0.018" source:"12 to 34 um at the limbus by optical coherence tomography; from memory" only:"vessels|arcades" doc:"diameter of the last twigs"`
	Depth   float64    `key:"depth" unit:"mm" range:"[0,0.6]" default:"0.05" source:"our own, by eye; the conjunctiva is 0.24 mm thick: Zhang et al. 2013; from memory" only:"vessels|arcades" doc:"how deep they lie in the mean: deeper ones are paler, bluer and blurred"`
	Gap     float64    `key:"gap" unit:"mm" range:"[-2,6]" default:"1" source:"our own, by eye" only:"vessels|arcades" doc:"how far outside the limbus they end"`
	Start   float64    `key:"start" unit:"mm" range:"[0.5,30]" default:"10" source:"muscles insert 5.5 to 7.7 mm behind the limbus; from memory" only:"vessels" doc:"how far outside the limbus the trunks come up"`
	Share   float64    `key:"share" range:"[0,0.5]" default:"0.08" source:"our own, by eye" only:"vessels" doc:"share of the area at which they stop to branch"`
	Corners float64    `key:"corners" range:"[0,1]" default:"0.65" source:"our own, by eye" only:"vessels" doc:"share of the trunks that come from the corners"`
	Wander  float64    `key:"wander" range:"[0,3]" default:"1" source:"neutral: changes nothing" only:"vessels" doc:"how much they wind"`
}

// Bare is a layer of a kind with the defaults of its tags.
func Bare(name, kind string) Layer {
	return Layer{Name: name, Kind: kind, On: true, Amount: 1, Into: "colour", Blend: "multiply", Colour: colour.Grey(1),
		Size: 1, Count: -1, Trunks: 12, Width: 0.09, Tip: 0.018, Depth: 0.05, Gap: 1, Start: 10, Share: 0.08, Corners: 0.65, Wander: 1}
}

// DefaultPaint returns the list of an eye that says nothing else, in order. Its numbers are by eye: common practice, no
// published source.
func DefaultPaint() []Layer {
	set := func(name, kind string, f func(l *Layer)) Layer {
		l := Bare(name, kind)
		f(&l)
		return l
	}
	return []Layer{
		set("redness", "redness", func(l *Layer) { l.Colour = colour.RGB{0.985, 0.90, 0.89} }),
		set("flush", "halo", func(l *Layer) {
			l.Mask, l.Size, l.Amount, l.Colour = "shallow-vessels", 0.4, 0.55, colour.RGB{0.985, 0.86, 0.87}
		}),
		set("fat", "fat", func(l *Layer) { l.Colour = colour.RGB{0.99, 0.95, 0.83} }),
		set("thin", "thin", func(l *Layer) { l.Colour = colour.RGB{0.90, 0.935, 0.98} }),
		set("patches", "mottle", func(l *Layer) { // cream to blue-grey
			l.Blend, l.Size, l.Amount, l.Colour = "scale", 4.5, 0.07, colour.RGB{1.25, 1.0, 0.35}
		}),
		set("mottle-large", "mottle", func(l *Layer) { l.Blend, l.Size, l.Amount = "scale", 6.25, 0.03 }),
		set("mottle-small", "mottle", func(l *Layer) { l.Blend, l.Size, l.Amount = "scale", 2.2, 0.03 }),
		set("mottle-fine", "mottle", func(l *Layer) { l.Blend, l.Size, l.Amount = "scale", 0.6, 0.02 }),
		set("limbal-grey", "limbal-grey", func(l *Layer) { l.Amount, l.Colour = 0.4, colour.RGB{0.70, 0.75, 0.81} }),
		set("deep-vessels", "vessels", func(l *Layer) {
			l.Into, l.Blend = "film", "absorb"
			l.Trunks, l.Width, l.Tip, l.Depth, l.Gap, l.Start, l.Share, l.Corners, l.Wander = 10, 0.17, 0.036, 0.25, 1.3, 8.5, 0.05, 0.5, 0.6
		}),
		set("shallow-vessels", "vessels", func(l *Layer) {
			l.Into, l.Blend = "film", "absorb"
			l.Trunks, l.Width, l.Tip, l.Start, l.Share, l.Depth, l.Wander = 17, 0.1, 0.02, 13, 0.036, 0.07, 0.8
		}),
		set("fine-vessels", "vessels", func(l *Layer) {
			l.Into, l.Blend, l.Seed = "film", "absorb", 5
			l.Amount, l.Trunks, l.Width, l.Tip, l.Depth, l.Gap, l.Start, l.Share, l.Corners, l.Wander = 1.4, 24, 0.045, 0.016, 0.06, 1.0, 5, 0.010, 0.4, 0.7
		}),
		set("arcades", "arcades", func(l *Layer) {
			l.Into, l.Blend = "film", "absorb"
			l.Trunks, l.Width, l.Tip, l.Depth, l.Gap = 130, 0.034, 0.017, 0.03, 0.0
		}),
		set("limbus", "limbus", func(l *Layer) { l.Size = 0.6 }),
		set("freckles", "freckles", func(l *Layer) { l.Into, l.Blend = "pigment", "add" }),
		set("ring", "ring", func(l *Layer) { l.Into, l.Blend, l.Amount = "stroma", "scale", -1 }),
		set("ring-pigment", "ring", func(l *Layer) { l.Into, l.Blend, l.Amount = "pigment", "add", 0.5 }),
		set("arcus", "arcus", func(l *Layer) { l.Blend, l.Amount, l.Colour = "over", 0.8, colour.RGB{0.36, 0.36, 0.35} }),
		set("ruff", "ruff", func(l *Layer) { l.Blend, l.Amount, l.Colour = "over", 0.96, colour.RGB{0.080, 0.042, 0.023} }),
		set("beads", "beads", func(l *Layer) { l.Colour = colour.Grey(0.35) }),
		set("clouding", "clouding", func(l *Layer) { l.Blend, l.Colour = "over", colour.RGB{0.40, 0.42, 0.43} }),
	}
}

// onIris tells the kinds that paint the iris; the others paint the white.
var onIris = []string{"limbus", "freckles", "ring", "ruff", "beads", "arcus", "clouding"}

// kinds are all kinds: the words of the tag.
var kinds = strings.Split(reflect.TypeFor[Layer]().Field(1).Tag.Get("oneof"), "|")

// plainLimbus is the step of an eye without an entry for it: the same all round.
var plainLimbus = Layer{Name: "limbus", Kind: "limbus", Size: 0.8}

// OfIris reports whether the layer paints the iris; others paint the white.
func (l *Layer) OfIris() bool { return slices.Contains(onIris, l.Kind) }

// isNet reports whether the layer is a net of vessels.
func (l *Layer) isNet() bool { return l.Kind == "vessels" || l.Kind == "arcades" }

// gain returns what the eye's own numbers multiply a layer by; 0 where it is off.
func (p *Params) gain(l *Layer) float64 {
	if !l.On {
		return 0
	}
	switch l.Kind {
	case "vessels", "arcades", "halo":
		// A redder eye has more vessels open, and each a little fuller.
		return l.Amount * (min(1, p.Veins) + 0.2*max(0, p.Veins-1)) * (1 - 0.75*p.Generic)
	case "redness":
		return l.Amount * p.Redness
	case "fat", "thin", "mottle":
		return l.Amount * p.Mottling * (1 - 0.7*p.Generic)
	case "arcus":
		return l.Amount * p.Arcus
	case "clouding":
		return l.Amount * p.Cloud
	}
	return l.Amount
}

// open is how many more vessels are open than at rest, 0 and up.
func (p *Params) open() float64 { return max(0, p.Veins-1) }

// layer returns the layer of that name, or nil.
func (p *Params) layer(name string) *Layer {
	for i := range p.Paint {
		if p.Paint[i].Name == name {
			return &p.Paint[i]
		}
	}
	return nil
}

// seed returns the seed of a layer. Two of one kind want seeds of their own to differ.
func (l *Layer) seed(p *Params) uint64 { return p.Seed + uint64(l.Seed)*0x9e3779b97f4a7c15 }

// blend returns a after a layer of the field f.
func (l *Layer) blend(a colour.RGB, f float64) colour.RGB {
	for i := range a {
		a[i] = l.mix(a[i], f, l.Colour[i])
	}
	return a
}

// mix returns a channel v after a layer of the field f, whose colour is c there.
func (l *Layer) mix(v, f, c float64) float64 {
	switch l.Blend {
	case "absorb":
		return v * math.Exp(-f*c)
	case "scale":
		return v * (1 + f*c)
	case "add":
		return v + f*c
	case "over":
		return v + min(1, max(0, f))*(c-v)
	}
	return v * (1 - f*(1-c))
}

// wanted reports whether a layer's field is used: by itself, or as a mask.
func (p *Params) wanted(l *Layer) bool {
	if p.gain(l) != 0 {
		return true
	}
	for i := range p.Paint {
		if q := &p.Paint[i]; q.Mask == l.Name && p.gain(q) != 0 {
			return true
		}
	}
	return false
}

// maxLayers is the longest list.
const maxLayers = 64

// checkPaint checks the list: what each entry may hold, and that masks are there.
func (p *Params) checkPaint(c *checker) {
	if len(p.Paint) > maxLayers {
		c.fail([]string{"Paint"}, "%d entries are more than %d", len(p.Paint), maxLayers)
		return
	}
	seen := map[string]bool{}
	for i := range p.Paint {
		l := &p.Paint[i]
		name := []string{"Paint." + l.Name}
		if seen[l.Name] {
			c.fail(name, "is there twice")
		}
		seen[l.Name] = true
		iris := l.OfIris()
		switch {
		case !slices.Contains(kinds, l.Kind):
			c.fail(name, "kind %q is none of %v", l.Kind, kinds)
		case iris && l.Into == "film", !iris && (l.Into == "stroma" || l.Into == "pigment"):
			c.fail(name, "%s is nothing that %s changes", l.Into, l.Kind)
		}
		m := p.layer(l.Mask)
		switch {
		case l.Mask == "" && l.Kind == "halo":
			c.fail(name, "a halo wants a mask: the vessels that it is about")
		case l.Mask == "":
		case m == nil:
			c.fail(name, "there is no entry %q for a mask", l.Mask)
		case m.Kind == "limbus":
			c.fail(name, "its mask %q is an edge, no field", l.Mask)
		case m == l:
			c.fail(name, "can't be its own mask")
		case m.OfIris() != iris:
			c.fail(name, "its mask %q lies on the other part of the eye", l.Mask)
		case l.Kind == "halo" && !m.isNet():
			c.fail(name, "a halo wants vessels for a mask, not %s", m.Kind)
		case m.Kind == "halo" && l.Kind != "halo" && m.Mask == l.Name:
			c.fail(name, "its mask %q is made from it", l.Mask)
		}
		c.in(name[0]+" amount", "", l.Amount, -8, 8)
		c.in(name[0]+" size", "mm", l.Size, 0.01, 20)
		c.in(name[0]+" width", "mm", l.Width, 0.004, 0.4)
		c.in(name[0]+" tip", "mm", l.Tip, 0.004, 0.4)
		c.in(name[0]+" depth", "mm", l.Depth, 0, 0.6)
		c.in(name[0]+" gap", "mm", l.Gap, -2, 6)
		c.in(name[0]+" start", "mm", l.Start, 0.5, 30)
		c.in(name[0]+" share", "", l.Share, 0, 0.5)
		c.in(name[0]+" corners", "", l.Corners, 0, 1)
		c.in(name[0]+" wander", "", l.Wander, 0, 3)
		c.in(name[0]+" count", "", float64(l.Count), -1, 4000)
		c.in(name[0]+" trunks", "", float64(l.Trunks), 1, 400)
	}
}
