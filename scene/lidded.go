package scene

import "reflect"

// LidsOf returns the lids of an eye as the scene's switch has them, or nil where it is bare.
func (d *Description) LidsOf(b *Body) *Lids {
	switch {
	case b.Shape != "eye" || d.Lids == "off":
		return nil
	case d.Lids == "on" && b.Lids == nil:
		return plainLids()
	case b.Lids == nil || !b.Lids.On && d.Lids != "on":
		return nil
	}
	return b.Lids
}

// plainLids returns lids with every key at its default.
func plainLids() *Lids {
	l := new(Lids)
	presets(schema().field("bodies").block.field("lids").block, reflect.ValueOf(l).Elem())
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
