// Package changed tells whether two renders of a scene differ by more than their noise: the difference over its standard error,
// pixel by pixel, tile by tile and by part of the eye, with a stated chance of a false alarm over the whole comparison.
package changed
