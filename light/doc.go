// Package light describes what shines: environments, a constant sky, rectangles (windows too), discs, spheres and
// distant discs such as the sun. One struct serves all kinds, told apart by a byte, so that hot loops call no
// interface; every kind can be sampled as seen from a point, hit by a ray, and asked for the density of its samples,
// which is what combining techniques needs.
//
// Lengths are in mm, radiance in W/(m^2 sr) linear RGB, angles in radians. Random numbers are arguments in [0, 1).
// Visibility is the caller's business. A Light does not change after its constructor, so any number of workers
// may use one at once; nothing allocates after that.
//
// Finite kinds (Rectangle, Disc, Sphere) are surfaces that a ray hits: Intersect and Radiance. The lights at infinity
// (Environment, Constant, Distant) are seen where a ray leaves the scene: RadianceDir. A one-sided Rectangle or Disc is
// not there for rays and points behind it: it neither shines nor is hit. A Sphere shines from both sides of its shell,
// so a point inside sees it all around; where rays are to pass through lights, count only the nearest hit of each.
package light
