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
