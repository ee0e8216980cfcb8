// Package tissue holds the optics of the eye's tissues: from the colour and the spread of light that an artist can see
// and measure with a ruler to the coefficients of a scattering medium, and the numbers that stand in where none are
// given. Lengths are in mm, coefficients in 1/mm.
//
// The chain is: a reflectance A per channel, as bare tissue shows it under diffuse light, gives the single-scattering
// albedo (SingleScatterAlbedo); the albedo and r50, the radius of the disc out of which half the light leaves that went
// in at its middle, give the mean free path (MeanFreePath). Scattering is isotropic: the reduced medium of tissue whose
// phase function points forward.
package tissue

import "catchlight/scene/colour"

// Numbers are the optical numbers of an eye. Channels are linear RGB, standing for 620, 550 and 450 nm.
type Numbers struct {
	// BendingIndex refracts rays at the single outer surface of the two-shell eye: with the index of the aqueous
	// humour one surface gives the entrance pupil of the real cornea's two to 0.2 per cent.
	BendingIndex float64
	// ReflectanceIndex sets how much the outer surface reflects: the index of the cornea.
	ReflectanceIndex float64
	// TearIndex and AqueousIndex are those of the film in front and the liquid behind.
	TearIndex, AqueousIndex float64
	// CoatIndex is that of the clear layer (tear film and conjunctiva) over the sclera.
	CoatIndex float64

	// ScleraAbsorption and ScleraScattering are reduced coefficients in 1/mm, good to a factor of two.
	ScleraAbsorption, ScleraScattering colour.RGB
	// ScleraR50 is the radius in mm that follows from them: half the light leaves within it.
	ScleraR50 colour.RGB
	// IrisR50 is the same for the stroma of the iris.
	IrisR50 colour.RGB
}

// Defaults returns the numbers that hold where a scene gives none.
//
// Sources: indices of cornea and aqueous humour: Gullstrand in Helmholtz, Handbuch der Physiologischen Optik, 3rd ed.
// 1909; tear film: the same 1.336 as used in schematic eyes. Coefficients of the sclera: no table for visible light
// could be read, so these are the geometric mean of the fibrous-tissue class of Jacques, Phys. Med. Biol. 58 (2013),
// R37, and our inversion of transmittances of Vogel et al., Lasers Surg. Med. 11 (1991), 331, both from memory: an order
// of magnitude. ScleraR50: own computation from those. IrisR50: common practice, no published source.
func Defaults() Numbers {
	return Numbers{
		BendingIndex:     1.336,
		ReflectanceIndex: 1.376,
		TearIndex:        1.336,
		AqueousIndex:     1.336,
		CoatIndex:        1.336,
		ScleraAbsorption: colour.RGB{0.031, 0.052, 0.120},
		ScleraScattering: colour.RGB{4.00, 4.85, 6.70},
		ScleraR50:        colour.RGB{0.35, 0.28, 0.19},
		IrisR50:          colour.RGB{0.10, 0.08, 0.06},
	}
}

// FromCoefficients turns reduced coefficients in 1/mm into what an artist sees: the reflectance of a thick layer under diffuse
// light, and r50 in mm. Absorption and scattering are >= 0 and not both 0.
func FromCoefficients(absorption, scattering float64) (reflectance, r50 float64) {
	t := absorption + scattering
	alpha := scattering / t
	return DiffuseAlbedo(alpha), ExitRadius50(alpha) / t
}
