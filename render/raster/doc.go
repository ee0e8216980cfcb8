// Package raster draws a prepared scene as a real-time renderer would: triangles, prefiltered light and fakes, no light transport.
// It reads the same objects, eyes, lights, camera and film as the path tracer.
//
//	frozen.Scene + scene.Raster --Bake (maps, prefilter, tables)--> Look --Draw--> Picture (linear, premultiplied by coverage)
//
// Bake does what a game does when it is built or loaded; Draw is the frame. Every part can be switched by the keys of scene.Raster, and
// names its source where it is. Lens blur is not drawn: the picture is taken through the middle of the aperture.
//
// The triangles are in package cover, the formulas in package shading.
package raster
