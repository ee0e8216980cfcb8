// Package shells makes the two shells of an eye from meshes of a file: scaled, turned, smoothed and closed, brought into the
// eye's frame, and the inner one laid close beneath the outer. It is geometry alone; whoever calls it brings the rays.
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
