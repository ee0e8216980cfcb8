// Package page lays pictures and words out on one page and writes it as PNG, SVG or PDF; it also writes animated PNG files
// and the player, a page that turns frames by hand. All of it works offline: fonts and pictures are in the files.
//
// Lengths are in pixels of the PNG, from the top left.
package page
