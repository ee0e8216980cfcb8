package scene

import "reflect"

// LidsOf returns the lids of an eye as the scene's switch has them, or nil where it is bare.
func (d *Description) LidsOf(b *Body) *Lids {
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
func plainLids(b *Body) *Lids {
	l := new(Lids)
	presets(schema().field("bodies").block.field("lids").block, reflect.ValueOf(l).Elem())
	l.Scale = max(0.2, min(max(b.Eye.Globe.Radius/12, b.Eye.Limbus.Radius/7.5), 5))
	return l
}

// Shown reports whether a body is in the picture: on, and not left out by its `when`.
func (d *Description) Shown(b *Body) bool {
	if !b.On || b.When == "" || b.When == "always" {
		return b.On
	}
	lidded := false
	for i := range d.Bodies {
		lidded = lidded || d.Bodies[i].On && d.LidsOf(&d.Bodies[i]) != nil
	}
	return lidded == (b.When == "lidded")
}
