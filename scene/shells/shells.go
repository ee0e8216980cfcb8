// Package shells makes the two shells of an eye from meshes of a file: scaled, turned, smoothed and closed, brought into the
// eye's frame, and the inner one laid close beneath the outer.
//
// The steps, in the order in which they are called for an eye:
//
//	Frame    the turn from the file's axes to those of an eye
//	Take     one shell by itself, as its Source says: scaled, turned, welded, subdivided, closed; notes say what was found
//	Centre   both shells: the optical axis becomes x = y = 0, the centre of the globe the origin
//	         (here package pupil warps the pupil)
//	Pierced  how often the inner shell pokes through the outer
//	Cavity   what of the inner shell faces a cavity and absorbs
//	Gap      how closely the inner shell can lie beneath the outer
//	Snug     moves it there, outside the limbus
//	Front    what of the inner shell is seen from in front, for maps over the tissue
//
// It is geometry alone and knows no hierarchy. Whoever calls it brings the rays: a Tracer takes a mesh and gives its Rays,
// Rays gives each goroutine a Ray of its own, and a Ray finds the first Hit.
//
// Lengths are in mm (those of Take's input are in the file's unit, which Source.Factor turns to mm). The eye's frame has +Z
// out of the cornea and +Y up.
//
// Sources: the sizes of eyes that SizeDoubt and Centre go by are common practice, no published source; the rules of
// subdivision are those of package mesh.
package shells

import (
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Hit is where a ray meets a mesh: at o + T d, which is (1-U-V) p0 + U p1 + V p2 of a triangle.
type Hit struct {
	T, U, V  float64
	Triangle int
}

// Ray finds the first triangle of a mesh that o + t d meets at a t in (0, far]. It serves one goroutine.
type Ray func(o, d geom.Vec, far float64) (Hit, bool)

// Rays makes a Ray for each goroutine that asks.
type Rays func() Ray

// Tracer makes the Rays of a mesh.
type Tracer func(m *mesh.Mesh) (Rays, error)
