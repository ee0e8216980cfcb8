// Package page lays pictures and words out on one page and writes it as PNG, SVG or PDF; it also writes animated PNG files
// and the player, a page that turns frames by hand. All of it works offline: fonts and pictures are in the files.
//
//	Page    a page being laid out: Rect, Text and Image add to it; PNG, SVG and PDF write it
//	Player  a page of HTML that turns rows of frames (Look) by drag, keys and play
//	APNG    frames as one animated PNG that loops
//
// Fit and TextWidth measure words in the page's own font. Paper, Ink and Quiet are the colours of all pages.
//
// Lengths are in pixels of the PNG, from the top left, delays in ms.
//
// Sources: W3C, Portable Network Graphics (PNG) Specification (Third Edition), 2025; W3C, Scalable Vector Graphics (SVG) 1.1;
// ISO 32000, Portable Document Format, by the module fpdf.
package page
