// Package shading holds published approximations of real-time shading, each by itself: functions and tables that know no scene.
//
//	harmonics.go  diffuse light of far surroundings by nine coefficients (Ramamoorthi and Hanrahan 2001)
//	sphere.go     pictures over all directions (octahedral), with filtered levels for reflection (Karis 2013)
//	response.go   the other half of the split sum: what a rough surface reflects of even light
//	polygon.go    light of polygons, diffuse (Lambert) and glossy (Heitz et al. 2016)
//	profile.go    how light spreads below a surface (Christensen and Burley 2015)
//	bend.go       scattering by curvature, integrated beforehand (Penner and Borshukov 2011)
//	kernel.go     scattering over the picture (Jimenez et al. 2015)
//	glare.go      glare of the eye over the picture (Spencer et al. 1995)
//
// Directions are unit vectors that leave the surface; radiance is in W/(m^2 sr), irradiance in W/m^2, lengths in mm.
package shading
