// Package seat measures how a globe sits between its lids: where the lids gape, where the globe comes through them, over the
// gazes that an eye takes, and which move of the globe would seat it best.
//
// Everything is looked at from the globe's centre. Along each direction the lid has an inner face, the first surface that is met,
// and an outer face, the last one close behind it (a lid without thickness has one face for both). The globe reaches a distance
// along the direction that turns with its gaze. From these three:
//
//	gap   from the globe to the inner face of the lid, where that comes nearest beside the rim
//	clip  by which the globe stands out of the lid's outer face, where it would be seen
//	rub   by which the globe reaches into the lid without standing out of it: hidden, but the lid is thinner there
//
// Lengths are in mm, angles in degrees. The frame is the head's: +X to the person's left, +Y up, +Z out of the face. A real
// lid follows the cornea's bulge; the lids of a file stand still, so a cornea of 0.9 mm rubs at a side gaze.
package seat
