package chart

import (
	"fmt"
	"strings"

	"catchlight/scene/colour"
)

// Patch is one field of the chart.
type Patch struct {
	Name string
	Lab  [3]float64 // CIE L*a*b*, D50, 2 degrees
}

// Columns is the number of patches in a row.
const Columns = 6

// Patches are the chart's fields, row by row from the top left.
//
// Source: X-Rite, New color specifications for ColorChecker SG and Classic charts, 2014 (values from November 2014 on).
var Patches = []Patch{
	{"dark skin", [3]float64{37.54, 14.37, 14.92}}, {"light skin", [3]float64{64.66, 19.27, 17.50}},
	{"blue sky", [3]float64{49.32, -3.82, -22.54}}, {"foliage", [3]float64{43.46, -12.74, 22.72}},
	{"blue flower", [3]float64{54.94, 9.61, -24.79}}, {"bluish green", [3]float64{70.48, -32.26, -0.37}},
	{"orange", [3]float64{62.73, 35.83, 56.50}}, {"purplish blue", [3]float64{39.43, 10.75, -45.17}},
	{"moderate red", [3]float64{50.57, 48.64, 16.67}}, {"purple", [3]float64{30.10, 22.54, -20.87}},
	{"yellow green", [3]float64{71.77, -24.13, 58.19}}, {"orange yellow", [3]float64{71.51, 18.24, 67.37}},
	{"blue", [3]float64{28.37, 15.42, -49.80}}, {"green", [3]float64{54.38, -39.72, 32.27}},
	{"red", [3]float64{42.43, 51.05, 28.62}}, {"yellow", [3]float64{81.80, 2.67, 80.41}},
	{"magenta", [3]float64{50.63, 51.28, -14.12}}, {"cyan", [3]float64{49.57, -29.71, -28.32}},
	{"white 9.5", [3]float64{95.19, -1.03, 2.93}}, {"neutral 8", [3]float64{81.29, -0.57, 0.44}},
	{"neutral 6.5", [3]float64{66.89, -0.75, -0.06}}, {"neutral 5", [3]float64{50.76, -0.13, 0.14}},
	{"neutral 3.5", [3]float64{35.63, -0.46, -0.48}}, {"black 2", [3]float64{20.64, 0.07, -0.46}},
}

// OutOfGamut is the patch whose colour linear Rec. 709 can't hold: cyan.
const OutOfGamut = 17

// d50 is the white that Lab values refer to. Source: ISO 13655 / CIE 15, 2-degree observer.
var d50 = [3]float64{0.96422, 1, 0.82521}

// Linear returns the patch's reflectance in linear Rec. 709 under its own white, D65: Lab to XYZ, then Bradford from D50
// to D65, then the primaries. A component may lie outside [0, 1].
func (p Patch) Linear() colour.RGB {
	// CIE 15: the inverse of the Lab functions.
	f := func(t float64) float64 {
		if t > 6.0/29 {
			return t * t * t
		}
		return 3 * (6.0 / 29) * (6.0 / 29) * (t - 4.0/29)
	}
	y := (p.Lab[0] + 16) / 116
	x := [3]float64{d50[0] * f(y+p.Lab[1]/500), d50[1] * f(y), d50[2] * f(y-p.Lab[2]/200)}
	// Lindbloom, RGB/XYZ Matrices: sRGB from XYZ adapted to D50 by Bradford.
	return colour.RGB{
		3.1338561*x[0] - 1.6168667*x[1] - 0.4906146*x[2],
		-0.9787684*x[0] + 1.9161415*x[1] + 0.0334540*x[2],
		0.0719453*x[0] - 0.2289914*x[1] + 1.4052427*x[2],
	}
}

// Lab is the inverse of Linear: CIE L*a*b* (D50) of linear Rec. 709 under its own white.
func Lab(c colour.RGB) [3]float64 {
	// Lindbloom, RGB/XYZ Matrices: XYZ adapted to D50 from sRGB.
	x := [3]float64{
		0.4360747*c[0] + 0.3850649*c[1] + 0.1430804*c[2],
		0.2225045*c[0] + 0.7168786*c[1] + 0.0606169*c[2],
		0.0139322*c[0] + 0.0971045*c[1] + 0.7141733*c[2],
	}
	var f [3]float64
	for i := range f {
		f[i] = labRoot(x[i] / d50[i])
	}
	return [3]float64{116*f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])}
}

// Objects returns objects in the form of a scene's list, in place of its own: a grey ball of 18 % and a mirror ball above,
// the chart below, or one of the two. They fill a square of 30 mm about the point [0, 0, 8] and face a camera at the given
// azimuth and elevation in degrees.
func Objects(balls, patches bool, azimuth, elevation float64) string {
	right, up := basis(azimuth, elevation)
	at := func(x, y float64) string {
		return fmt.Sprintf("[%.9g, %.9g, %.9g]", x*right[0]+y*up[0], x*right[1]+y*up[1], 8+x*right[2]+y*up[2])
	}
	var list []string
	if balls {
		y := 7.5
		if !patches {
			y = 0
		}
		list = append(list,
			fmt.Sprintf("{name: grey-ball, shape: sphere, radius: 5.8, transform: {translate: %s}, material: {kind: diffuse, colour: 0.18}}", at(-7, y)),
			fmt.Sprintf("{name: mirror-ball, shape: sphere, radius: 5.8, transform: {translate: %s}, material: {kind: conductor, mirror: true}}", at(7, y)))
	}
	if patches {
		top := 0.2
		if !balls {
			top = 7.4
		}
		for i, p := range Patches {
			c := p.Linear()
			for j := range c {
				c[j] = min(max(c[j], 0), 1)
			}
			x, y := (float64(i%Columns)-2.5)*3.7, top-1.85-float64(i/Columns)*3.7
			list = append(list, fmt.Sprintf("{name: patch-%d, shape: rectangle, size: [3.3, 3.3, 1], transform: {translate: %s, rotate: [%.9g, %.9g, 0]}, material: {kind: diffuse, colour: [%.9g, %.9g, %.9g]}}",
				i+1, at(x, y), -elevation, azimuth, c[0], c[1], c[2]))
		}
	}
	return "[" + strings.Join(list, ", ") + "]"
}
