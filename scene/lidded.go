package scene

import "reflect"

// LidsOf returns the lids of an eye as the scene's switch has them, or nil where it is bare.
func (d *Description) LidsOf(b *Object) *Lids {
	switch {
	case b.Shape != "eye" || d.Lids == "off":
		return nil
	case d.Lids == "on" && b.Lids == nil:
		return plainLids(b)
	case b.Lids == nil || !b.Lids.On && d.Lids != "on":
		return nil
	}
	return b.Lids
}

// plainLids returns lids with every key at its default, in proportion to the globe, and no smaller than its iris
// asks for.
func plainLids(b *Object) *Lids {
	l := new(Lids)
	presets(schema().field("objects").block.field("lids").block, reflect.ValueOf(l).Elem())
	l.Scale = max(0.2, min(max(b.Eye.Globe.Radius/12, b.Eye.Limbus.Radius/7.5), 5))
	return l
}

// Shown reports whether an object is in the picture: on, and not left out by its `when`.
func (d *Description) Shown(b *Object) bool {
	if !b.On || b.When == "" || b.When == "always" {
		return b.On
	}
	lidded := false
	for i := range d.Objects {
		lidded = lidded || d.Objects[i].On && d.LidsOf(&d.Objects[i]) != nil
	}
	return lidded == (b.When == "lidded")
}

// Brow is the hair above an eye.
type Brow struct {
	Density     float64 `key:"density" range:"[0,3]" default:"1" source:"common practice, no published source: 250 to 450 hairs a side" doc:"1 is 350 hairs; 0 is none"`
	Length      float64 `key:"length" unit:"mm" range:"[0,16]" default:"8.5" source:"common practice, no published source: 4 to 12 mm" doc:"length of the hairs in its body; those of head and tail are shorter"`
	Thickness   float64 `key:"thickness" unit:"mm" range:"[0.02,0.3]" default:"0.07" source:"0.05 to 0.1 mm (Price et al. 2009); from memory" doc:"diameter of a hair at its root"`
	Width       float64 `key:"width" unit:"mm" range:"[2,20]" default:"9" source:"our own, by eye" doc:"of the whole brow where it is widest"`
	Height      float64 `key:"height" unit:"mm" range:"[14,30]" default:"20.5" source:"18 to 25 mm above the pupil (Price et al. 2009); from memory" doc:"height of its middle over the middle of the eye"`
	Arch        float64 `key:"arch" unit:"mm" range:"[-4,10]" default:"4" source:"our own, by eye" doc:"how far its peak stands above its head"`
	Eumelanin   float64 `key:"eumelanin" range:"[0,30]" default:"5" source:"common practice, no published source: 4 to 8 is dark, 1.3 brown, 0.3 fair" doc:"brown-black pigment"`
	Pheomelanin float64 `key:"pheomelanin" range:"[0,30]" default:"0" source:"neutral: changes nothing" doc:"red pigment"`
}

// Down is the fine hair of the lids and about them.
type Down struct {
	Density     float64 `key:"density" range:"[0,6]" default:"1" source:"common practice, no published source: 100 to 250 a cm^2 on lids; 439 on the forehead (Blume et al. 1991, from memory)" doc:"1 is 170 hairs a cm^2; 0 is none"`
	Length      float64 `key:"length" unit:"mm" range:"[0,12]" default:"1.25" source:"common practice, no published source: 1 to 1.5 mm on lids" doc:"mean length"`
	Thickness   float64 `key:"thickness" unit:"mm" range:"[0.01,0.1]" default:"0.022" source:"below 0.03 mm (Blume et al. 1991); from memory" doc:"diameter of a hair at its root"`
	Reach       float64 `key:"reach" unit:"mm" range:"[1,60]" default:"15" source:"our own choice" doc:"how far from the opening it goes; it thins out over the last two fifths"`
	Bare        float64 `key:"bare" unit:"mm" range:"[0.5,6]" default:"1.2" source:"our own, by eye" doc:"how wide a rim about the opening has none"`
	Eumelanin   float64 `key:"eumelanin" range:"[0,30]" default:"0.05" source:"common practice, no published source" doc:"brown-black pigment; people's has hardly any"`
	Pheomelanin float64 `key:"pheomelanin" range:"[0,30]" default:"0" source:"neutral: changes nothing" doc:"red pigment"`
}
