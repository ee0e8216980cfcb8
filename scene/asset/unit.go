package asset

import (
	"fmt"
	"strings"
)

// Endings of the files of meshes that are read.
var Endings = []string{".glb", ".gltf", ".obj", ".ply", ".stl"}

// units lists the words for the unit of a file that has none of its own, with their length in mm.
var units = []struct {
	word string
	mm   float64
}{{"mm", 1}, {"cm", 10}, {"m", 1000}, {"inch", 25.4}}

// Unit returns the length in mm of a unit by its word in a scene file, and whether there is such a word.
func Unit(word string) (mm float64, ok bool) {
	for _, u := range units {
		if u.word == word {
			return u.mm, true
		}
	}
	return 0, false
}

// The axial length in mm of eyes: grown human eyes have 21 to 27 mm (common practice, no published source); the
// bounds leave room for children and animals.
const (
	ShortEye = 15
	LongEye  = 35
)

// UnitQuestion asks for the unit of a file whose longest side is long, in its own unit: it says what each unit would
// make of it, and which would give the size of an eye.
func UnitQuestion(long float64) string {
	var all, fits []string
	for _, u := range units {
		all = append(all, fmt.Sprintf("%.4g mm with unit: %s", long*u.mm, u.word))
		if l := long * u.mm; l >= ShortEye && l <= LongEye {
			fits = append(fits, "unit: "+u.word)
		}
	}
	s := fmt.Sprintf("the format states no unit of length, so the scene must: give unit beside file. Its longest side is %.4g: %s", long, strings.Join(all, ", "))
	if len(fits) > 0 {
		return s + "; " + strings.Join(fits, " or ") + " would make it the size of an eye"
	}
	return s + "; none of them makes it the size of an eye"
}

// Advice says in one line what to do with a file of meshes whose ending (lower case, with its dot) is not read, and
// "" for one that is.
func Advice(ending string) string {
	for _, e := range Endings {
		if e == ending {
			return ""
		}
	}
	return fmt.Sprintf("files in %s are not read; export the eye as glTF 2.0 binary (.glb) with normals, UVs and materials, uncompressed, +Y up, transforms applied or kept in the nodes; .obj, .ply and .stl are read too", ending)
}
