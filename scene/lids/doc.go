// Package lids grows what lies about an eye: a pair of lids in skin that goes on to brow, nose and cheek, the pink inner
// corner, the strip of tears along the rims, lashes, a brow and fine hair; for one eye or for a pair with the bridge of the nose between.
//
// The head's frame has its origin at the centre of the globe (of a pair: half-way between both), +Z out of the face, +Y up,
// and +X toward the nose of a right eye. Lids don't turn with the eye, but their rims follow its gaze up and down.
//
// The skin is one closed surface about the opening. Its coordinates are the way round the opening and the way from deep
// beneath the lid, out over the rim and on over the face. The rims' rear lips lie on the eye itself, along a loop (loop.go); the
// lids' backs follow great circles from there, and the skin's rows are level sets of the distance along it from the front lips
// (distance.go, level.go), on a ground of globe and face joined smoothly (ground.go). sheet.go lays it all.
//
// Sizes are those of published means: opening 27 x 9.7 mm (ages.go) with the upper rim 1 to 2 mm below the upper limbus and the lower
// rim at the lower limbus, outer corner 1 to 2 mm above the inner, rim 2 mm thick, crease, 90 to 160 upper and 50 to 80 lower
// lashes of 8 to 12 and 6 to 8 mm (Bron, Tripathi and Tripathi, Wolff's Anatomy of the Eye and Orbit, 8th ed. 1997,
// chapter 2; from memory), tear strip 0.2 to 0.3 mm high (Mainstone, Bruce and Golding, Curr. Eye Res. 15 (1996), 653; from
// memory). The shape of the face around is common practice, no published source.
package lids
