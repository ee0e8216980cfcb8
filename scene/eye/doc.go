// Package eye builds a parametric eye of two closed shells from published schematic eyes, with baked colour.
//
// The outer shell is the tear-covered cornea (a conicoid) that runs through a blended limbus into the scleral sphere;
// the inner shell is the sclera just beneath it, a wall down to the root of the iris, the iris with real relief, the
// rounded margin of the pupil, and an absorbing pit behind it. Both are closed, wind outward and never cross.
//
// Everything is in mm in the eye frame: the origin is the centre of the scleral sphere, +Z the optical axis out of
// the cornea, +Y up. Seen from the front with +Y up, +X is to the right.
//
// The way of one eye:
//
//	Params --Check--> profile (meridian), wobble (displacement), chart (texture plane)
//	       --iris---> fibres, crypts, furrows --splat--> height and pigment --> iris albedo
//	       --sclera-> mottling and vessels ------------------------------------> scleral albedo
//	       --shells-> Outer, Inner
//
// Every result depends on Params alone: the same parameters give the same bits on one machine, whatever the number of
// workers.
package eye
