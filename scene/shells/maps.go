package shells

import (
	"errors"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Flat is how the texture coordinates of an iris lie on its plane: uv = At + X x + Y y for a place x, y mm from the axis.
type Flat struct{ At, X, Y geom.UV }

// FlatOf fits the coordinates of the front of an inner shell between 0.4 and 0.95 of the limbus' radius, by least squares. The frame has
// N along the axis and T up.
func FlatOf(m *mesh.Mesh, centre geom.Vec, f geom.Frame, limbus float64) (Flat, error) {
	var n, sx, sy, sxx, sxy, syy float64
	var su, sv, sxu, sxv, syu, syv float64
	if m.UV != nil {
		for i, p := range m.P {
			l := f.Local(p.Sub(centre))
			if r := math.Hypot(l.X, l.Y); l.Z <= 0 || r < 0.4*limbus || r > 0.95*limbus {
				continue
			}
			u := m.UV[i]
			n, sx, sy, sxx, sxy, syy = n+1, sx+l.X, sy+l.Y, sxx+l.X*l.X, sxy+l.X*l.Y, syy+l.Y*l.Y
			su, sv, sxu, sxv, syu, syv = su+u.U, sv+u.V, sxu+l.X*u.U, sxv+l.X*u.V, syu+l.Y*u.U, syv+l.Y*u.V
		}
	}
	a, b, c := sxx-sx*sx/n, sxy-sx*sy/n, syy-sy*sy/n
	det := a*c - b*b
	if n < 12 || !(det > 1e-9) {
		return Flat{}, errors.New("the iris has no texture coordinates to move a picture by")
	}
	fit := func(su, sxu, syu float64) (at, x, y float64) {
		d, e := sxu-sx*su/n, syu-sy*su/n
		x, y = (d*c-e*b)/det, (e*a-d*b)/det
		return (su - x*sx - y*sy) / n, x, y
	}
	var q Flat
	q.At.U, q.X.U, q.Y.U = fit(su, sxu, syu)
	q.At.V, q.X.V, q.Y.V = fit(sv, sxv, syv)
	if math.Abs(q.X.U*q.Y.V-q.X.V*q.Y.U) < 1e-9 {
		return Flat{}, errors.New("the texture coordinates of the iris do not lie flat: no picture can be moved by them")
	}
	return q, nil
}

// PerMM is texels a mm of a picture of w by h texels, the mean of both directions.
func (q Flat) PerMM(w, h float64) float64 {
	return math.Sqrt(math.Abs(q.X.U*q.Y.V-q.X.V*q.Y.U) * w * h)
}

// MoveMaps moves the pictures of a shell on its iris: by a shift in mm, right and up, after a turn in degrees about the axis, anticlockwise
// seen from the front, and a scale. It moves the coordinates the other way; outside the iris the picture goes along as a whole.
func MoveMaps(m *mesh.Mesh, q Flat, shift [2]float64, turn, scale float64) {
	det := q.X.U*q.Y.V - q.X.V*q.Y.U
	sin, cos := math.Sincos(geom.Radians(turn))
	for i, uv := range m.UV {
		du, dv := uv.U-q.At.U, uv.V-q.At.V
		x, y := (du*q.Y.V-dv*q.Y.U)/det-shift[0], (dv*q.X.U-du*q.X.V)/det-shift[1]
		x, y = (x*cos+y*sin)/scale, (y*cos-x*sin)/scale
		m.UV[i] = geom.UV{U: q.At.U + x*q.X.U + y*q.Y.U, V: q.At.V + x*q.X.V + y*q.Y.V}
	}
}
