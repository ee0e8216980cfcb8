package inspect

import (
	"fmt"
	"math"
	"strings"

	"catchlight/scene/geom"
)

// window is a square piece of a map, where the shell's axis meets it, that smaller copies and compression are tried on.
type window struct {
	n int          // texels a side, a multiple of 64
	v [][3]float64 // signal
}

const windowSide = 1024

// window cuts the piece about the place of the map that lies on the axis, or about its middle.
func (s *Subject) window(m *Map, p *picture) *window {
	n := min(windowSide, p.w&^63, p.h&^63)
	if n < 64 {
		return nil
	}
	cx, cy := p.w/2, p.h/2
	if part := s.Part(m.Role); part != nil && part.Mesh.UV != nil && s.Eye != nil {
		best := math.Inf(1)
		for i, q := range part.Mesh.P {
			if rho, z := s.polar(q); z > 0 && rho < best && i < len(part.Mesh.UV) {
				best = rho
				cx, cy = p.at(part.Mesh.UV[i])
			}
		}
	}
	x0, y0 := min(max(0, cx-n/2), p.w-n), min(max(0, cy-n/2), p.h-n)
	w := &window{n: n, v: make([][3]float64, n*n)}
	for y := range n {
		for x := range n {
			for k := range 3 {
				w.v[y*n+x][k] = p.im.At(x0+x, y0+y, min(k, max(0, p.c-1)))
			}
		}
	}
	return w
}

// small says what is left of a map when it is shown small, and when it is kept in blocks.
func (r *Run) small(m *Map, p *picture) {
	w := r.Subject.window(m, p)
	if w == nil {
		return
	}
	r.detail(m, p, w)
	if m.kind() != "height" && !p.float {
		r.compressed(m, w)
	}
}

// detail reports how much contrast is left at each smaller copy, about the means over 64 x 64 texels.
func (r *Run) detail(m *Map, p *picture, w *window) {
	kept := w.kept()
	if kept == nil {
		return
	}
	d := r.Subject.density(m.Role, p.w, p.h, r.zoneOf(m))
	level := 0.0
	if d.px > 0 {
		level = max(0, math.Log2(d.px/r.PerMM))
	}
	k := min(level, float64(len(kept)-1))
	i := min(int(k), len(kept)-2)
	left := kept[i] + (k-float64(i))*(kept[i+1]-kept[i])
	var words []string
	for j, v := range kept {
		words = append(words, fmt.Sprintf("1/%d %.0f", 1<<j, 100*v))
	}
	f := Finding{Code: "maps.detail", Part: m.name(), Good: left >= r.Limit("maps.detail_kept"), Most: Note,
		Number: Held(100*left, "%", fmt.Sprintf("contrast left at this shot (level %.1f; %.0f texels a mm); by size in %%: %s;", level, d.px, strings.Join(words, ", "))),
		Range:  AtLeast(100*r.Limit("maps.detail_kept"), "own choice")}
	if !f.Good {
		f.Shows.Text = "at this size the finest detail is grey; it shows closer by"
		f.Remedy.Step = "nothing, if closer shots are meant; else paint coarser, where a pixel is " + fmt.Sprintf("%.2f mm", 1/r.PerMM)
	}
	r.Add(f)
}

// kept is the contrast of smaller copies over that of the window itself, rms over all channels, down to 1/32.
func (w *window) kept() (kept []float64) {
	for k := range 6 {
		side := 1 << k
		sum, count := 0.0, 0
		for by := 0; by < w.n; by += 64 {
			for bx := 0; bx < w.n; bx += 64 {
				sum += w.spread(bx, by, side)
				count++
			}
		}
		kept = append(kept, math.Sqrt(sum/float64(count)))
	}
	if kept[0] < 0.3/255 {
		return nil // there is no contrast
	}
	for k := len(kept) - 1; k >= 0; k-- {
		kept[k] /= kept[0]
	}
	return kept
}

// spread is the variance within a block of 64 x 64 of the means over squares of a side.
func (w *window) spread(bx, by, side int) float64 {
	out := 0.0
	for c := range 3 {
		var s, q float64
		n := 64 / side
		for y := range n {
			for x := range n {
				v := 0.0
				for j := range side {
					for i := range side {
						v += w.v[(by+y*side+j)*w.n+bx+x*side+i][c]
					}
				}
				v /= float64(side * side)
				s, q = s+v, q+v*v
			}
		}
		k := float64(n * n)
		out += max(0, q/k-(s/k)*(s/k)) * k / (k - 1)
	}
	return out
}

// compressed reports the error of a map in blocks of 4 x 4 texels: colour with two 16-bit ends and two between them, 4 bits a
// texel; normals with red and green apart, two 8-bit ends and six between them, 8 bits a texel, blue from their length. Source of
// both layouts: Khronos Data Format Specification 1.3, chapters 19 (S3TC) and 21 (RGTC). The ends are those along the direction of
// most spread; better searches gain little.
func (r *Run) compressed(m *Map, w *window) {
	normal := m.kind() == "normal"
	sum := 0.0
	for y := 0; y < w.n; y += 4 {
		for x := 0; x < w.n; x += 4 {
			var b, out [16][3]float64
			for k := range b {
				b[k] = w.v[(y+k/4)*w.n+x+k%4]
			}
			if normal {
				out = blockNormal(b)
			} else {
				out = blockColour(b)
			}
			for k := range b {
				sum += off(b[k], out[k], normal)
			}
		}
	}
	rms := math.Sqrt(sum / float64(w.n*w.n))
	f := Finding{Code: "maps.compressed", Part: m.name(), Most: Note}
	if normal {
		f.Number, f.Range = Held(rms, "degrees", "rms error of normals at 8 bits a texel"), AtMost(1.5, "own choice")
	} else {
		f.Number, f.Range = Held(255*rms, "levels", "rms error of colour at 4 bits a texel"), AtMost(5, "own choice")
	}
	if f.Good = f.Range.Holds(f.Number.V); !f.Good {
		f.Shows.Text = "nothing here; where textures are compressed, blocks of 4 x 4 texels show"
		f.Remedy.Step = "ship it at a higher rate (8 bits a texel of colour), or less finely grained"
	}
	r.Add(f)
}

// off is the squared error of a texel: of the signal, a channel, or of the normal's angle in degrees.
func off(a, b [3]float64, normal bool) float64 {
	if !normal {
		s := 0.0
		for k := range 3 {
			s += (a[k] - b[k]) * (a[k] - b[k]) / 3
		}
		return s
	}
	u, v := unit(a), unit(b)
	d := math.Asin(min(1, u.Cross(v).Len())) * 180 / math.Pi
	return d * d
}

func unit(c [3]float64) geom.Vec {
	v := geom.Vec{X: 2*c[0] - 1, Y: 2*c[1] - 1, Z: 2*c[2] - 1}
	if l := v.Len(); l > 0 {
		return v.Mul(1 / l)
	}
	return geom.Vec{Z: 1}
}

// blockColour codes and decodes 16 colours.
func blockColour(b [16][3]float64) (out [16][3]float64) {
	var mean, axis [3]float64
	for _, c := range b {
		for k := range 3 {
			mean[k] += c[k] / 16
		}
	}
	var cov [3][3]float64
	for _, c := range b {
		for i := range 3 {
			for j := range 3 {
				cov[i][j] += (c[i] - mean[i]) * (c[j] - mean[j])
			}
		}
	}
	axis = [3]float64{1, 1, 1}
	for range 8 { // power iteration
		var next [3]float64
		l := 0.0
		for i := range 3 {
			for j := range 3 {
				next[i] += cov[i][j] * axis[j]
			}
			l = max(l, math.Abs(next[i]))
		}
		if l == 0 {
			break
		}
		for i := range 3 {
			axis[i] = next[i] / l
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	l2 := axis[0]*axis[0] + axis[1]*axis[1] + axis[2]*axis[2]
	for _, c := range b {
		t := ((c[0]-mean[0])*axis[0] + (c[1]-mean[1])*axis[1] + (c[2]-mean[2])*axis[2]) / l2
		lo, hi = min(lo, t), max(hi, t)
	}
	var ends [4][3]float64
	for k, steps := range [3]float64{31, 63, 31} {
		round := func(v float64) float64 { return math.Round(min(max(v, 0), 1)*steps) / steps }
		a, c := round(mean[k]+lo*axis[k]), round(mean[k]+hi*axis[k])
		ends[0][k], ends[1][k], ends[2][k], ends[3][k] = a, c, (2*a+c)/3, (a+2*c)/3
	}
	for i, c := range b {
		best := math.Inf(1)
		for _, e := range ends {
			if d := off(c, e, false); d < best {
				best, out[i] = d, e
			}
		}
	}
	return out
}

// blockNormal codes and decodes red and green of 16 normals, and rebuilds blue.
func blockNormal(b [16][3]float64) (out [16][3]float64) {
	for k := range 2 {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, c := range b {
			lo, hi = min(lo, c[k]), max(hi, c[k])
		}
		lo, hi = math.Round(255*lo)/255, math.Round(255*hi)/255
		for i, c := range b {
			out[i][k] = lo
			if hi > lo {
				t := math.Round(7 * (c[k] - lo) / (hi - lo))
				out[i][k] = lo + min(max(t, 0), 7)/7*(hi-lo)
			}
		}
	}
	for i := range out {
		x, y := 2*out[i][0]-1, 2*out[i][1]-1
		out[i][2] = (1 + math.Sqrt(max(0, 1-x*x-y*y))) / 2
	}
	return out
}
