package cover

import (
	"catchlight/render/camera"
	"catchlight/scene/geom"
)

// Row is an affine function of a point: V.p + C.
type Row struct {
	V geom.Vec
	C float64
}

// At evaluates the row at p.
func (r Row) At(p geom.Vec) float64 { return r.V.Dot(p) + r.C }

// View projects the world onto a film of Width x Height pixels: film positions are X/W and Y/W, the depth is Z/W, at most 1 and larger
// where nearer.
type View struct {
	X, Y, W, Z    Row
	Width, Height int
}

// Of returns the view of a camera through the middle of its aperture. What lies nearer than near is cut away; an orthographic picture
// reaches from near to far, a perspective to infinity. Lengths are in mm.
func Of(k *camera.Camera, width, height int, near, far float64) View {
	f, eye := k.Frame(), k.Position()
	ahead := f.N.Neg()
	x0, y0, _, _ := k.Project(eye.Add(ahead))
	size, spread := k.PixelSpread()
	if size > 0 {
		return Flat(geom.Frame{S: f.S, T: f.T, N: f.N}, eye, x0, y0, size, width, height, near, far)
	}
	return perspective(f, eye, x0, y0, spread, width, height, near)
}

// Flat returns an orthographic view along -N of the frame from eye, which lies at film position (x0, y0); pixel is the side of one in mm.
func Flat(f geom.Frame, eye geom.Vec, x0, y0, pixel float64, width, height int, near, far float64) View {
	right, up, back := about(f.S.Mul(1/pixel), eye), about(f.T.Mul(-1/pixel), eye), about(f.N, eye)
	right.C += x0
	up.C += y0
	k := 1 / (far - near)
	depth := Row{V: back.V.Mul(k), C: back.C*k + far*k}
	return View{X: right, Y: up, W: Row{C: 1}, Z: depth, Width: width, Height: height}
}

// Perspective returns a view from eye along -N of the frame, centred on the film; tan is the tangent of half the angle that the
// film's width spans.
func Perspective(f geom.Frame, eye geom.Vec, tan float64, width, height int, near float64) View {
	return perspective(f, eye, float64(width)/2, float64(height)/2, 2*tan/float64(width), width, height, near)
}

func perspective(f geom.Frame, eye geom.Vec, x0, y0, spread float64, width, height int, near float64) View {
	w := about(f.N.Neg(), eye)
	x, y := about(f.S.Mul(1/spread), eye), about(f.T.Mul(-1/spread), eye)
	// X/W = x0 + x/w, and Z = near, so that depth is near/w.
	return View{
		X: Row{x.V.Mad(x0, w.V), x.C + x0*w.C}, Y: Row{y.V.Mad(y0, w.V), y.C + y0*w.C}, W: w, Z: Row{C: near},
		Width: width, Height: height,
	}
}

// about returns p -> v.(p - o).
func about(v, o geom.Vec) Row { return Row{V: v, C: -v.Dot(o)} }

// Project returns the film position and depth of a point in front of the view.
func (v *View) Project(p geom.Vec) (x, y, depth float64) {
	w := 1 / v.W.At(p)
	return v.X.At(p) * w, v.Y.At(p) * w, v.Z.At(p) * w
}
