// Package truescale says whether an eye has its true scale: it makes the scenes that show it at the usual mistakes of units,
// judges its length and how far light spreads in it against what is published, and lays both out.
//
// Light scatters over millimetres, whatever the size of the eye. So an eye that is ten times too large is the same picture as
// one of the right size whose tissue scatters over a tenth as far, and that is how mistakes are shown: framed alike, with the
// scatter radii divided by the mistake.
package truescale
