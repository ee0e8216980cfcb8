// Package tissue holds the optics of the eye's tissues: from the colour and the spread of light that an artist can see
// and measure with a ruler to the coefficients of a scattering medium. The numbers that stand in where none are given are the defaults
// of the scene description. Lengths are in mm, coefficients in 1/mm.
//
// The chain is: a reflectance A per channel, as bare tissue shows it under diffuse light, gives the single-scattering
// albedo (SingleScatterAlbedo); the albedo and r50, the radius of the disc out of which half the light leaves that went
// in at its middle, give the mean free path (MeanFreePath). Scattering is isotropic: the reduced medium of tissue whose
// phase function points forward.
package tissue
