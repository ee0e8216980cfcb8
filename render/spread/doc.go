// Package spread measures how far light spreads in the tissue of a prepared eye, by random walks in that very eye: the radii
// that hold half and nine tenths of the light that comes back out, the width of a shadow's edge on the white, and how far each
// channel runs past the terminator. Lengths are mm of the world.
package spread
