// Package chart knows the colours of a 24-patch colour chart, and makes reference objects, chart, grey ball and mirror
// ball, for any scene's light.
//
//	Patch, Patches   the chart's fields, row by row from the top left, in CIE L*a*b* (D50, 2 degrees); Linear is their
//	                 reflectance in linear Rec. 709 (D65)
//	Objects          the list of objects for a scene in place of its own: balls and patches in the eye's place, toward the camera
//	Lab, Difference  L*a*b* of a linear colour, and the CIEDE2000 difference of two
//
// L* runs from 0 to 100; a difference of 1 is about what is just seen (common practice, no published source). Angles are in degrees, lengths in mm.
//
// Sources: CIE 15 (Lab); ISO/CIE 11664-6 (CIEDE2000); the maker's published values, named beside Patches.
package chart
