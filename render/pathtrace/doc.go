// Package pathtrace estimates the radiance that arrives along a camera ray: an unbiased path tracer with a two-shell eye,
// next-event estimation combined with hits by multiple importance sampling, a manifold solver that connects lights to the
// iris through the cornea, and random walks in scattering tissue.
//
// A Tracer is one worker's. Its one method for pictures, Sample, adds one sample of one pixel to a film.Sample. Stats counts
// what it did. The classes (Background, Reflection, IrisDirect and so on) say what kind of path brought a contribution.
//
// # The life of a path
//
// Sample starts one path at the camera. At the first hit of an eye it may split in two, the mirrored part and the part that
// passes, which wait on a short stack. follow takes each from hit to hit until it leaves the scene, meets a light, is absorbed,
// or loses at Russian roulette. At each hit:
//
//	path      the state of a path: its ray, its weight beta, the number of its next vertex (which names its random numbers),
//	          the closed objects around it (nest), and its last scattering vertex with the density of the direction taken
//	vertex    a scattering point that lights are connected to: place, normals, and the eye whose chamber it lies in
//	response  how a vertex responds to light from a direction: one of a few lobes, told apart by a byte
//	chain     what lies between the last scattering vertex and the ray: nothing, one passage through an eye's coat, one
//	          refraction through a cornea, or something that no light sample could have made
//
// connect sends light samples from a vertex. When a path meets a light by itself, the chain says which light sample could
// have found the same path, and the two are weighted by the balance heuristic. Where none could, the hit counts in full.
//
// # Files
//
//	tracer.go                  Tracer, path, Stats and the classes
//	follow.go                  hits, lights that are met, media, roulette
//	connect.go                 vertex, response, light samples, straight and through a cornea
//	manifold.go                the solver that finds the way through a cornea
//	folds.go, missed.go        all ways where light folds behind a cornea, and what is still not found
//	shell.go, tissue.go        an eye's outer and inner shell; deep.go connects collisions in its tissue to lights
//	flesh.go, walk_flesh.go    scattering objects such as lids, and walks in them
//	mirrored.go                lights that a coat or film mirrors, counted whether a path is mirrored or not
//	plain.go                   diffuse objects, metals, glass, and the irradiance plate
//	flight.go, guide.go, aim.go  one flight of a walk, its guiding toward the surface and the light, and the odds of that
//	nest.go                    the closed objects around a point
//
// # Units and sources
//
// Lengths are in mm, radiance in W/(m^2 sr), densities of directions in 1/sr. Inside refracting objects a path carries basic
// radiance, L/n^2, which does not change across an interface; so an interface has no n^2 factors anywhere, and whatever
// measures inside a medium multiplies by n^2 itself (the irradiance plate does).
//
// Sources: Nicodemus, Radiance, Am. J. Phys. 31 (1963), 368-377, for basic radiance; Veach and Guibas, Optimally Combining
// Sampling Techniques, SIGGRAPH 1995, for the balance heuristic; Hanika, Droske and Fascione, Manifold Next Event Estimation,
// EGSR 2015, for the solver. Each file names its own.
package pathtrace
