// Package compare sets two pictures of one scene against each other: numbers for each region of the eye, maps of where they
// differ, pictures that show both at once, and one page that holds it all and needs no network.
//
//	Pair --Measure--> Result (Report, maps) --Files--> pictures, compare.json, compare.html
//
// The first picture is the reference, the second is judged against it.
package compare
