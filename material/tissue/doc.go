// Package tissue holds the optics of the eye's tissues: from the colour and the spread of light that an artist can see
// and measure with a ruler to the coefficients of a scattering medium, and the thin clear layer on top.
//
// The chain is: a reflectance A per channel, as bare tissue shows it under diffuse light, gives the single-scattering
// albedo (SingleScatterAlbedo; DiffuseAlbedo is the way back). The albedo and r50, the radius of the disc out of which half
// the light leaves that went in at its middle, give the mean free path (MeanFreePath; ExitRadius50 is r50 in mean free
// paths). DiffusionLength is how far light spreads deep inside. Scattering is isotropic: the reduced medium of tissue whose
// phase function points forward.
//
// Coat is the layer on top, such as the tear film: what it mirrors, and by how much it weakens light on its way in and out,
// so that a white base with a coat loses nothing.
//
// Lengths are in mm, coefficients in 1/mm; reflectances and albedos are in [0, 1]. The numbers that stand in where none are
// given are the defaults of the scene description.
//
// Sources: van de Hulst, Multiple Light Scattering, 1980, and Kulla and Conty, SIGGRAPH course notes 2017, for the albedo;
// Kelemen and Szirmay-Kalos, A Microfacet Based Coupled Specular-Matte BRDF Model, Eurographics 2001, for the coat. Each
// function names its own.
package tissue
