// Package inspect says what is wrong with an eye before it is rendered: scale, layers, meshes, texture coordinates, maps,
// pairs, and a high and a low mesh that should lie on each other.
//
//	Subject    what is looked at: the parts of an eye in mm, what was measured of it, its maps
//	Check      one kind of look; Checks is the registry, Look runs all of it over a Subject
//	Finding    one thing that was found: a number with its range and source, where, what it does to the picture, what to do
//	Report     all findings, the worst first
//	Limits     the one table of thresholds, which a studio overrides by a file
//
// A finding's severity goes by what shows: a check says how many pixels and how many of 255 levels of the picture its
// finding is worth at the shot's size, and the table of thresholds turns that into a severity. What leaves nothing to be seen
// right, such as a shell that is missing, has a severity of its own. What is measured and lies within its range is a finding
// too, of severity Fine, so that a report says what was looked at.
//
// Nothing is changed: Mend writes a copy, of what is safe to mend.
//
// Lengths are in mm of the eye as it is meant (its file's numbers times Subject.MM), in the axes of the file; pixels are those
// of a picture in which the globe is Shot.Across px wide.
package inspect
