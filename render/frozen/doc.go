// Package frozen is the prepared scene: objects with their hierarchies, eyes, lights and camera, in flat read-only tables
// that any number of workers may use at once. It finds hits and rebuilds surface points; it does no light transport. The path
// tracer and the raster look both read it; package prepare makes it.
//
//	Scene     the tables, and the settings of the path tracer; Intersect and Occluded cast rays through them
//	Object    one instance of a shape: where it is, what its surface is, which kinds of rays meet it (Mask)
//	Material  the surface, told apart by its Kind, and the volume inside; Flesh where light scatters beneath it
//	Surface   a point of an object, rebuilt in float64 from a Hit: place, normals, texture coordinates
//	Eye       a two-shell eye: its outer and inner object, limbus, indices, roughness, and its Tissue
//	Tissue    the scattering inside of an eye: extinction by zone, single-scattering albedo by direction (VolumeMap)
//	Flesh     the scattering inside of a plain object such as a lid (Kind Soft, in a scene kind: tissue): one extinction, a
//	          colour painted on top
//	Beams     where an eye's outer shell sends a small light, for the solver that connects lights through it
//	Lit       how light falls on a scattering object, by normal, for walks that are guided toward it
//
// # The zone weight
//
// An eye has two zones, and the zone weight says in which a place lies: 1 in the iris and the cornea, 0 in the sclera, with a
// smooth blend between that is LimbusWidth wide about the cylinder of LimbusRadius (Eye.Zone). It decides what the outer
// shell is. Where it is 1 the shell is a dielectric interface that bends light, with an empty chamber beneath. Where it is
// 0 the shell is a thin coat on the tissue, which does not bend it. Between, it is an interface with the probability that
// Bend gives and a coat otherwise, so that no seam shows. The tissue's coefficients and the roughness of the tear film
// blend by the same weight. What decides is the place, not the gap between the shells.
//
// # Units
//
// Lengths are in mm of the world unless a field says local; extinction is in 1/mm, of the world for Flesh and of the eye's
// own frame for Tissue. Radiance is in W/(m^2 sr), angles in radians. The frame of an eye has its origin in the centre of
// the globe, +Z out of the cornea and +Y up. Normals point outward.
package frozen
