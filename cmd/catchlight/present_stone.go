package main

import (
	"fmt"

	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// hero is the three-quarter view of the eye on a dark wet stone, where it casts a shadow and is mirrored. With a transparent ground it
// is the eye alone.
func hero(b *sitting) (*scene.Description, error) {
	d, err := stand(b.bare, 33, 6)
	if err != nil || d.View.Background == "transparent" {
		return d, err
	}
	p, err := b.prepared(d)
	if err != nil {
		return nil, err
	}
	outer := &p.Scene.Objects[p.Scene.Eyes[0].Outer]
	low := outer.ToWorld.Point(outer.Mesh.P[0])
	for _, v := range outer.Mesh.P {
		if q := outer.ToWorld.Point(v); q.Y < low.Y {
			low = q
		}
	}
	size := outer.Bounds.Size()
	name := "stone"
	for i := range d.Objects {
		if d.Objects[i].Name == name {
			name += "-of-the-set"
		}
	}
	q := *d
	q.Objects = append(append([]scene.Object(nil), d.Objects...), stone(name, low, min(size.X, size.Y)/2))
	if err := q.Check(); err != nil {
		return nil, fmt.Errorf("the stone under the eye: %w", err)
	}
	return &q, nil
}

// stone is a plinth whose hollow holds a globe of radius r with its lowest point at low, mm.
func stone(name string, low geom.Vec, r float64) scene.Object {
	const clear = 0.02 // mm between globe and stone
	o := scene.DefaultObject(name, "plinth")
	o.Radius, o.Thickness = 5*r, 0.7*r
	o.Plinth.Cup, o.Plinth.Depth, o.Plinth.Bevel = 1.05*r, 0.11*r, 0.025*r
	o.Plinth.Relief, o.Plinth.Wave = min(1, 0.0006*r), min(1000, max(1, 0.5*r))
	o.Transform.Translate = geom.Vec{X: low.X, Y: low.Y - clear + o.Plinth.Depth, Z: low.Z}
	m := &o.Material
	m.Kind, m.Scattering, m.Index, m.Roughness = "tissue", false, 1.4, 0.1
	m.Colour.Value = colour.RGB{0.02, 0.022, 0.025}
	return o
}
