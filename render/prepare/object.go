package prepare

import (
	"errors"
	"fmt"
	"math"

	"catchlight/light"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/geom"
)

// place returns the map from an object's frame to the world.
func place(pl *scene.Transform) geom.Affine {
	return geom.Scale(pl.Scale).
		Then(geom.RotateX(geom.Radians(pl.Rotate.X))).
		Then(geom.RotateY(geom.Radians(pl.Rotate.Y))).
		Then(geom.RotateZ(geom.Radians(pl.Rotate.Z))).
		Then(geom.Translate(pl.Translate))
}

func (p *preparer) mask(b *scene.Object) frozen.Mask {
	var m frozen.Mask
	if b.Visibility.Camera {
		m |= frozen.CameraRays
	}
	if b.Visibility.Shadow && (p.d.Effects.Shadow || b.Shape == "eye") {
		m |= frozen.ShadowRays
	}
	if b.Visibility.Reflection {
		m |= frozen.ReflectionRays
	}
	return m
}

// add puts an object into the scene, with its bounds in the world.
func (p *preparer) add(b frozen.Object, local geom.Box) int32 {
	b.ToLocal = b.ToWorld.Inverse()
	b.Scale = math.Cbrt(math.Abs(b.ToWorld.Det()))
	b.Bounds = about(b.ToWorld, local)
	p.out.Objects = append(p.out.Objects, b)
	return int32(len(p.out.Objects) - 1)
}

// about returns a box in the world about one of an object's frame, and a little room.
func about(to geom.Affine, local geom.Box) geom.Box {
	box := geom.EmptyBox()
	for i := 0; i < 8; i++ {
		c := local.Lo
		if i&1 != 0 {
			c.X = local.Hi.X
		}
		if i&2 != 0 {
			c.Y = local.Hi.Y
		}
		if i&4 != 0 {
			c.Z = local.Hi.Z
		}
		box = box.Grow(to.Point(c))
	}
	pad := 1e-5 * (box.Size().MaxAbs() + 1e-3)
	return geom.Box{Lo: box.Lo.Sub(geom.Vec{X: pad, Y: pad, Z: pad}), Hi: box.Hi.Add(geom.Vec{X: pad, Y: pad, Z: pad})}
}

// object makes a plain object.
func (p *preparer) object(b *scene.Object) {
	f := frozen.Object{Name: b.Name, ToWorld: place(&b.Transform), Mask: p.mask(b), Eye: -1}
	var local geom.Box
	var made *instance
	switch b.Shape {
	case "sphere":
		f.Shape, f.Closed = frozen.Sphere, true
		f.Size = geom.Vec{X: b.Radius}
		local = geom.Box{Lo: geom.Vec{X: -b.Radius, Y: -b.Radius, Z: -b.Radius}, Hi: geom.Vec{X: b.Radius, Y: b.Radius, Z: b.Radius}}
	case "disc":
		f.Shape = frozen.Disc
		f.Size = geom.Vec{X: b.Radius}
		local = geom.Box{Lo: geom.Vec{X: -b.Radius, Y: -b.Radius}, Hi: geom.Vec{X: b.Radius, Y: b.Radius}}
	case "rectangle":
		f.Shape = frozen.Rectangle
		f.Size = b.Size.Mul(0.5)
		local = geom.Box{Lo: geom.Vec{X: -f.Size.X, Y: -f.Size.Y}, Hi: geom.Vec{X: f.Size.X, Y: f.Size.Y}}
	case "box":
		f.Shape, f.Closed = frozen.Box, true
		f.Size = b.Size.Mul(0.5)
		local = geom.Box{Lo: f.Size.Neg(), Hi: f.Size}
	case "slab":
		f.Shape, f.Closed = frozen.Slab, true
		f.Size = geom.Vec{Z: b.Thickness}
		const far = 1e9
		local = geom.Box{Lo: geom.Vec{X: -far, Y: -far, Z: -b.Thickness}, Hi: geom.Vec{X: far, Y: far}}
	case "mesh", "plinth":
		q, err := p.mesh(b)
		if err != nil {
			key := ".file"
			if b.Shape == "plinth" {
				key = ".plinth"
			}
			p.fail("objects."+b.Name+key, err)
			return
		}
		f.Shape, f.Mesh, f.BVH, f.Closed, made = frozen.Mesh, q.mesh, q.bvh, true, q
		local = q.bvh.Bounds()
		if c := b.OpacityMask; c != nil {
			f.Closed = false
			if f.OpacityMask, err = p.cutout(b, q.mesh); err != nil {
				p.fail("objects."+b.Name+".opacity_mask", err)
				return
			}
		}
	}
	m := &b.Material
	if m.Kind == "emissive" {
		p.emissive(b, &f)
		return
	}
	var own *ownLook
	if made != nil && b.Shape == "mesh" {
		own = p.look(b, made, &f)
	}
	f.Material = p.material(b, m, own)
	if m.Kind == "tears" {
		f.Mask &^= frozen.ShadowRays // what lies beneath is lit as if it were not there
	}
	if fl := f.Material.Flesh; fl != nil && !fl.Solid && made != nil {
		var err error
		if f.Depth, err = p.thickness(b.Name, made); err != nil {
			p.fail("objects."+b.Name, err)
			return
		}
	}
	p.warn = append(p.warn, tileNotes("objects."+b.Name+".material.colour", f.Mesh, &f.Material.Colour)...)
	if f.Material.HasMedium && !f.Closed {
		p.fail("objects."+b.Name+".material.inside", fmt.Errorf("a %s encloses no volume; only sphere, box, slab and mesh can hold a medium", b.Shape))
	}
	p.add(f, local)
}

// emissive turns an emissive object into a light of the same shape and place.
func (p *preparer) emissive(b *scene.Object, f *frozen.Object) {
	key := "objects." + b.Name
	m := &b.Material
	if m.Radiance == nil {
		p.fail(key+".material.radiance", errors.New("an emissive material needs a radiance"))
		return
	}
	s := b.Transform.Scale
	fr := geom.Frame{S: f.ToWorld.Vector(geom.Vec{X: 1}).Unit(), T: f.ToWorld.Vector(geom.Vec{Y: 1}).Unit(), N: f.ToWorld.Vector(geom.Vec{Z: 1}).Unit()}
	var l *light.Light
	var err error
	switch b.Shape {
	case "sphere":
		l, err = light.NewSphere(b.Name, b.Transform.Translate, b.Radius*s, *m.Radiance)
	case "disc":
		l, err = light.NewDisc(b.Name, fr, b.Transform.Translate, b.Radius*s, *m.Radiance, false)
	case "rectangle":
		l, err = light.NewRectangle(b.Name, fr, b.Transform.Translate, b.Size.X*s, b.Size.Y*s, *m.Radiance, false)
	default:
		err = fmt.Errorf("a %s can't be emissive; sphere, rectangle and disc can", b.Shape)
	}
	if err != nil {
		p.fail(key, err)
		return
	}
	p.addLight(l, b.Visibility.Camera, len(p.out.Lights))
}
