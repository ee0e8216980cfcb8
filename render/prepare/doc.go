// Package prepare turns a description into a frozen scene: shells, hierarchies, maps, tissue, lids, lights and the camera.
//
//	scene.Description --Scene--> Prepared (frozen.Scene, view, warnings)
//
// Scene is the one call. It does the work in stages (an eye's shells, their hierarchies, its maps over the tissue, each
// mesh, each light) and reports all that is wrong in one go, by the key of the scene. Prepared is what comes out: it is
// written to no more, so that any number of workers share it. A Cache keeps the stages by what they were made from, the
// part of the description and the state of the files (Stamp), so that a variation makes only what it changes. A Forecast
// says beforehand, from the headers of the pictures, how much memory their maps will take.
//
// Some of the steps are exported because others need them by themselves: Camera for the geometry of a view without its
// scene, View for showing a picture again, LooksAlong for a turntable that keeps an eye's gaze, and Soft for checks that
// give an object tissue of coefficients that no description would have.
//
// Lengths are in mm and angles in degrees as in the description, until they enter the frozen scene, which has radians.
package prepare
