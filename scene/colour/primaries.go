package colour

import (
	"fmt"
	"math"
)

// Primaries are red, green, blue and white in CIE 1931 x, y, in this order.
type Primaries [8]float64

// Rec709 are the primaries and the white (D65) of all colours in memory. Source: ITU-R BT.709-6.
var Rec709 = Primaries{0.64, 0.33, 0.30, 0.60, 0.15, 0.06, 0.3127, 0.3290}

// The sets beside it that pictures may be in. Sources: SMPTE RP 431-2 with the white of Rec. 709; ITU-R BT.2020-2; Academy
// S-2014-004 (AP1).
var (
	P3      = Primaries{0.680, 0.320, 0.265, 0.690, 0.150, 0.060, 0.3127, 0.3290}
	Rec2020 = Primaries{0.708, 0.292, 0.170, 0.797, 0.131, 0.046, 0.3127, 0.3290}
	AP1     = Primaries{0.713, 0.293, 0.165, 0.830, 0.128, 0.044, 0.32168, 0.33767}
)

// Near reports whether two sets agree to within 0.001 in each number, the digits that files carry.
func (p Primaries) Near(q Primaries) bool {
	for i := range p {
		if !(math.Abs(p[i]-q[i]) < 1e-3) {
			return false
		}
	}
	return true
}

// Matrix is a linear map of colours, row by row.
type Matrix [3]RGB

// Apply returns m c.
func (m *Matrix) Apply(c RGB) RGB {
	var out RGB
	for i, r := range m {
		out[i] = r[0]*c[0] + r[1]*c[1] + r[2]*c[2]
	}
	return out
}

// Mul returns m n: first n, then m.
func (m Matrix) Mul(n Matrix) Matrix {
	var out Matrix
	for i := range out {
		for j := range out[i] {
			out[i][j] = m[i][0]*n[0][j] + m[i][1]*n[1][j] + m[i][2]*n[2][j]
		}
	}
	return out
}

// Inverse fails where the rows span no volume.
func (m Matrix) Inverse() (Matrix, error) {
	c := func(i, j int) float64 {
		a, b, k, l := (i+1)%3, (i+2)%3, (j+1)%3, (j+2)%3
		return m[a][k]*m[b][l] - m[a][l]*m[b][k]
	}
	d := m[0][0]*c(0, 0) + m[0][1]*c(0, 1) + m[0][2]*c(0, 2)
	if !(math.Abs(d) > 1e-9) || math.IsInf(d, 0) {
		return m, fmt.Errorf("the matrix has no inverse")
	}
	var out Matrix
	for i := range out {
		for j := range out[i] {
			out[i][j] = c(j, i) / d
		}
	}
	return out, nil
}

// xyz returns the tristimulus values of x, y at luminance 1.
func xyz(x, y float64) RGB { return RGB{x / y, 1, (1 - x - y) / y} }

// toXYZ returns the map from RGB to XYZ that gives white luminance 1.
//
// Source: SMPTE RP 177-1993.
func (p Primaries) toXYZ() (Matrix, error) {
	for i, v := range p {
		if !(math.Abs(v) <= 4) || i == 7 && v < 1e-6 {
			return Matrix{}, fmt.Errorf("chromaticity %g", v)
		}
	}
	var m Matrix
	for k := range 3 {
		x, y := p[2*k], p[2*k+1]
		m[0][k], m[1][k], m[2][k] = x, y, 1-x-y
	}
	inv, err := m.Inverse()
	if err != nil {
		return m, fmt.Errorf("the primaries lie on one line")
	}
	s := inv.Apply(xyz(p[6], p[7]))
	for i := range m {
		m[i] = m[i].Mul(s)
	}
	return m, nil
}

// bradford are the sharpened cone responses in which whites are scaled.
//
// Source: Lam, Metamerism and Colour Constancy, thesis, University of Bradford, 1985; the numbers as in ICC.1:2010,
// annex E.
var bradford = Matrix{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}

// adapt returns the map of XYZ that takes one white to another.
func adapt(from, to RGB) (Matrix, error) {
	back, err := bradford.Inverse()
	if err != nil {
		return back, err
	}
	a, b := bradford.Apply(from), bradford.Apply(to)
	var d Matrix
	for k := range d {
		if d[k][k] = b[k] / a[k]; !(d[k][k] > 0) || math.IsInf(d[k][k], 0) {
			return d, fmt.Errorf("the white is no colour")
		}
	}
	return back.Mul(d).Mul(bradford), nil
}

// FromRec709 returns the map from linear RGB of Rec. 709 to that of the primaries p; white goes to white.
func (p Primaries) FromRec709() (Matrix, error) {
	m, err := p.ToRec709()
	if err != nil {
		return m, err
	}
	return m.Inverse()
}

// ToRec709 returns the map from linear RGB of the primaries p to that of Rec. 709; white goes to white.
func (p Primaries) ToRec709() (Matrix, error) {
	from, err := p.toXYZ()
	if err != nil {
		return from, err
	}
	to, err := Rec709.toXYZ()
	if err != nil {
		return to, err
	}
	if to, err = to.Inverse(); err != nil {
		return to, err
	}
	a, err := adapt(xyz(p[6], p[7]), xyz(Rec709[6], Rec709[7]))
	if err != nil {
		return a, err
	}
	m := to.Mul(a).Mul(from)
	for _, r := range m {
		if !r.Finite() {
			return m, fmt.Errorf("the primaries are no colours")
		}
	}
	return m, nil
}
