package inspect

import (
	"catchlight/scene/colour"
	"fmt"
	"math"
	"slices"
)

// slopes are those of a relief on a grid of at most slopeSide texels a side, per texel of the file, y down.
type slopes struct {
	w, h int
	p, q []float32
	name string
}

// slopeSide keeps what a normal and a height map are compared by small; cells of the file's texels are averaged.
const slopeSide = 512

// normalMap looks at a normal map and returns the slopes that it stands for.
func (r *Run) normalMap(m *Map, p *picture) *slopes {
	if p.c < 3 {
		r.Add(Finding{Code: "maps.normal_length", Part: m.name(), Title: "a normal map with fewer than three channels", Least: Error,
			Number: Held(float64(p.c), "", "channels"), Range: AtLeast(3, "glTF 2.0 specification, 3.9.3"), Remedy: Remedy{Step: "export it as a tangent-space normal map in RGB"}})
		return nil
	}
	off, below, n := 0, 0, 0
	var sum [3]float64
	var red, green []float64
	var codes [2][1 << 16 / 64]uint64 // which codes are there
	for y := 0; y < p.h; y += p.rows {
		for x := range p.w {
			v := p.normal(x, y)
			l := math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2])
			n++
			if math.Abs(l-1) > r.Limit("maps.length_off") {
				off++
			}
			if v[2] <= 0 {
				below++
			}
			for k := range 3 {
				sum[k] += v[k] / max(l, 1e-9)
			}
			if n%64 == 0 {
				red, green = append(red, p.im.At(x, y, 0)), append(green, p.im.At(x, y, 1))
			}
			if !p.float {
				for k := range 2 {
					c := p.code(x, y, k)
					codes[k][c>>6] |= 1 << (c & 63)
				}
			}
		}
	}
	// A picture that went through a curve has its flats elsewhere: half reads 0.735 or 0.214.
	slices.Sort(red)
	slices.Sort(green)
	flat := 0.5
	if len(red) > 0 {
		flat = (red[len(red)/2] + green[len(green)/2]) / 2
	}
	for _, w := range []struct {
		at        float64
		what, how string
	}{{colour.EncodeSRGB(0.5), "was encoded for display", "export it as data (raw, linear), not as colour"}, {colour.DecodeSRGB(0.5), "was decoded as if it were colour", "take it as data (raw, linear) where it was read as colour"}} {
		if !p.float && math.Abs(flat-w.at) < 0.02 {
			lean := math.Atan(math.Abs(2*flat-1)*math.Sqrt2) * 180 / math.Pi
			r.Add(Finding{Code: "maps.curve", Part: m.name(), Title: "a normal map that " + w.what, Least: Error, Number: Held(flat, "", "median of red and green"),
				Range: Between(0.49, 0.51, "flat is a half: glTF 2.0 specification, 3.9.3"), Shows: Shows{Levels: turned(lean), Text: fmt.Sprintf("all normals lean by %.0f degrees", lean)},
				Remedy: Remedy{Step: w.how}})
			return nil
		}
	}
	share := float64(off) / float64(n)
	f := Finding{Code: "maps.normal_length", Part: m.name(), Good: share <= r.Limit("maps.length_share") && below == 0, Number: Held(100*share, "%", "texels that are no unit normals"),
		Range: AtMost(100*r.Limit("maps.length_share"), "own choice"), Most: Warning}
	if !f.Good {
		f.Shows = Shows{Levels: 3 + 20*share, Text: "highlights are wider or narrower than meant; roughness that follows from length is wrong"}
		f.Remedy.Step = "normalise the map after every filter"
		if below > 0 {
			f.Count, f.Title = below, fmt.Sprintf("%d normals point into the surface", below)
			f.Remedy.Step = "check the channels' order and whether blue is signed; bake it anew"
			if float64(below) > 0.01*float64(n) {
				f.Most, f.Least = 0, Error
			}
		}
	}
	r.Add(f)
	r.lean(m, sum, n)
	r.codes(m, p, codes)
	s := p.slopesOf(m)
	r.green(m, p, s)
	return s
}

// normal is a texel as a vector, y as the file has it.
func (p *picture) normal(x, y int) (v [3]float64) {
	for k := range 3 {
		v[k] = 2*p.im.At(x, y, k) - 1
	}
	return v
}

// lean says how far the mean normal leans.
func (r *Run) lean(m *Map, sum [3]float64, n int) {
	angle := math.Atan2(math.Hypot(sum[0], sum[1]), sum[2]) * 180 / math.Pi
	f := Finding{Code: "maps.lean", Part: m.name(), Good: angle <= r.Limit("maps.lean"), Number: Held(angle, "degrees", "lean of the mean normal"), Range: AtMost(r.Limit("maps.lean"), "own choice: (128, 128, 255) leans 0.32")}
	if !f.Good {
		f.Shows = Shows{Levels: turned(angle), Text: "the whole surface is lit as if it were turned; catchlights sit aside"}
		f.Remedy.Step = fmt.Sprintf("add (%+.3f, %+.3f) to red and green, then normalise", -sum[0]/float64(n)/2, -sum[1]/float64(n)/2)
	}
	r.Add(f)
}

// codes finds a normal map of few levels: the widest gap between two codes that are next to each other among those used.
func (r *Run) codes(m *Map, p *picture, used [2][1 << 16 / 64]uint64) {
	if p.float {
		return
	}
	count, gap := 1<<30, 0.0
	for k := range 2 {
		n, first, last := 0, -1, 0
		for c := range 1 << p.bits {
			if used[k][c>>6]>>(c&63)&1 == 1 {
				if first < 0 {
					first = c
				}
				n, last = n+1, c
			}
		}
		if n < 3 { // flat along this axis
			continue
		}
		count = min(count, n)
		gap = max(gap, float64(last-first)/float64(n-1)/float64(int(1)<<p.bits-1))
	}
	if count == 1<<30 {
		return
	}
	angle := math.Atan(2*gap) * 180 / math.Pi
	f := Finding{Code: "maps.steps", Part: m.name(), Good: angle <= r.Limit("maps.step"), Number: Held(float64(count), "levels", "in the channel that has fewest"), Range: nil}
	if !f.Good {
		f.Title = fmt.Sprintf("only %d levels, %.2g degrees apart", count, angle)
		f.Range = AtLeast(math.Ceil(float64(count)*angle/r.Limit("maps.step")), fmt.Sprintf("own choice: at most %.2g degrees a level", r.Limit("maps.step")))
		f.Shows = Shows{Levels: turned(angle), Text: "highlights come in terraces"}
		f.Remedy.Step = "export it in 16 bits, or dither it"
	}
	r.Add(f)
}

// slopesOf reads a normal map as slopes on a small grid, with green up as the scene reads it.
func (p *picture) slopesOf(m *Map) *slopes {
	return p.grid(m.name(), func(x, y int) (float64, float64) {
		v := p.normal(x, y)
		z := max(0.05, v[2])
		a, b := -v[0]/z, v[1]/z // dh/dx, and dh/dy with y down
		if m.GreenDown {
			b = -b
		}
		return a, b
	})
}

// grid averages slopes over cells.
func (p *picture) grid(name string, at func(x, y int) (float64, float64)) *slopes {
	step := max(1, max(p.w, p.h)/slopeSide)
	s := &slopes{w: p.w / step, h: p.h / step, name: name}
	if s.w < 3 || s.h < 3 {
		return nil
	}
	s.p, s.q = make([]float32, s.w*s.h), make([]float32, s.w*s.h)
	side := min(step, 4) // of larger cells 4 x 4 texels stand for all
	for j := range s.h {
		for i := range s.w {
			var a, b float64
			for y := range side {
				for x := range side {
					u, v := at(i*step+x*step/side, j*step+y*step/side)
					a, b = a+u, b+v
				}
			}
			s.p[j*s.w+i], s.q[j*s.w+i] = float32(a/float64(side*side)), float32(b/float64(side*side))
		}
	}
	return s
}

// green says whether green points as the map is read. A relief's mixed derivatives commute, dp/dy = dq/dx; with green turned over
// they are opposite. Source: the integrability condition, Frankot and Chellappa, IEEE Trans. PAMI 10 (1988), 439-451. u and v are
// brought to one scale by the mesh's texels, since a factor between them hides it.
func (r *Run) green(m *Map, p *picture, s *slopes) {
	if s == nil {
		return
	}
	k := 1.0 // q in units of p: texels a mm across over down
	if d := r.Subject.density(m.Role, p.w, p.h, r.zoneOf(m)); d.square > 0 {
		k = d.square
	}
	right, wrong, rms := 0.0, 0.0, 0.0
	for y := 1; y+1 < s.h; y++ {
		for x := 1; x+1 < s.w; x++ {
			i := y*s.w + x
			a := float64(s.p[i+s.w]-s.p[i-s.w]) * k
			b := float64(s.q[i+1]-s.q[i-1]) / k
			right, wrong = right+(a-b)*(a-b), wrong+(a+b)*(a+b)
			rms += float64(s.q[i]) * float64(s.q[i])
		}
	}
	if right+wrong == 0 {
		return
	}
	corr := (wrong - right) / (wrong + right)
	f := Finding{Code: "maps.green", Part: m.name(), Good: true, Number: Held(corr, "", "agreement of the cross slopes: 1 as read, -1 the other way"), Range: AtLeast(-r.Limit("maps.green_clear"), "Frankot and Chellappa 1988; the bound is our own choice")}
	slope := math.Sqrt(rms / float64((s.w-2)*(s.h-2)))
	switch {
	case corr < -r.Limit("maps.green_clear"):
		f.Good, f.Least = false, Warning
		f.Shows = Shows{Levels: min(255, turned(2*math.Atan(slope)*180/math.Pi)), Text: "lumps read as holes when light comes from above"}
		word := "down"
		if m.GreenDown {
			word = "up"
		}
		f.Remedy = Remedy{Key: r.key(m.Key + ".green=" + word), Step: "turn the green channel over", Mends: true}
	case corr < r.Limit("maps.green_clear"):
		f.Number = Number{What: f.Number.What, Why: fmt.Sprintf("the relief does not tell (%.2f): too noisy, or along one axis alone", corr)}
		f.Range = nil
	}
	r.Add(f)
}

// heightMap looks at a height map and returns its slopes.
func (r *Run) heightMap(m *Map, p *picture) *slopes {
	low, high := math.Inf(1), math.Inf(-1)
	levels := map[int]bool{}
	for y := 0; y < p.h; y += p.rows {
		for x := range p.w {
			v := p.im.At(x, y, 0)
			low, high = min(low, v), max(high, v)
			if !p.float && len(levels) < 1<<12 {
				levels[p.code(x, y, 0)] = true
			}
		}
	}
	if !p.float && len(levels) > 1 && len(levels) < 1<<12 {
		step := (high - low) / float64(len(levels)-1)
		angle := r.stepAngle(m, p, step)
		f := Finding{Code: "maps.steps", Part: m.name(), Good: angle <= r.Limit("maps.step"), Number: Held(float64(len(levels)), "levels", "over its whole range")}
		if !f.Good {
			f.Title = fmt.Sprintf("%d levels, %.2g micrometres apart", len(levels), 1000*step*m.MM)
			f.Range = AtLeast(math.Ceil(float64(len(levels))*angle/r.Limit("maps.step")), fmt.Sprintf("own choice: at most %.2g degrees a level", r.Limit("maps.step")))
			f.Shows, f.Remedy.Step = r.stepShows(m, p, step), "export it in 16 bits, or as OpenEXR"
		}
		r.Add(f)
	}
	return p.grid(m.name(), func(x, y int) (float64, float64) {
		x0, x1, y0, y1 := max(0, x-1), min(p.w-1, x+1), max(0, y-1), min(p.h-1, y+1)
		return p.im.At(x1, y, 0) - p.im.At(x0, y, 0), p.im.At(x, y1, 0) - p.im.At(x, y0, 0)
	})
}

// insideOut compares the slopes of a normal map with those of the height map of the same shell.
func (r *Run) insideOut(role Role, n, h *slopes) {
	if n.w != h.w || n.h != h.h { // of unlike sizes: compare at the smaller one's cells
		if n = n.to(h.w, h.h); n == nil {
			return
		}
	}
	var nh, nn, hh float64
	for i := range n.p {
		nh += float64(n.p[i])*float64(h.p[i]) + float64(n.q[i])*float64(h.q[i])
		nn += float64(n.p[i])*float64(n.p[i]) + float64(n.q[i])*float64(n.q[i])
		hh += float64(h.p[i])*float64(h.p[i]) + float64(h.q[i])*float64(h.q[i])
	}
	if nn == 0 || hh == 0 {
		return
	}
	c := nh / math.Sqrt(nn*hh)
	f := Finding{Code: "maps.inside_out", Part: n.name, Good: c > -r.Limit("maps.green_clear"), Number: Held(c, "", "correlation of its slopes with those of "+h.name), Range: AtLeast(-r.Limit("maps.green_clear"), "own choice: 1 where both are of one relief")}
	if !f.Good {
		slope := math.Sqrt(nn / float64(2*len(n.p)))
		f.Least = Warning
		f.Shows = Shows{Levels: min(255, turned(2*math.Atan(slope)*180/math.Pi)), Text: "the light says hole where the outline says lump"}
		f.Remedy.Step = "turn both red and green of the normal map over, or give the height map's scale the other sign; see which of them is right under a raking light"
	}
	r.Add(f)
}

// to resamples slopes to another grid, nil where that is finer.
func (s *slopes) to(w, h int) *slopes {
	if w > s.w || h > s.h {
		return nil
	}
	o := &slopes{w: w, h: h, name: s.name, p: make([]float32, w*h), q: make([]float32, w*h)}
	for y := range h {
		for x := range w {
			i := y*s.h/h*s.w + x*s.w/w
			o.p[y*w+x], o.q[y*w+x] = s.p[i], s.q[i]
		}
	}
	return o
}

// roughness looks at a roughness map of a wet surface.
func (r *Run) roughness(m *Map, p *picture) {
	var v []float64
	channel := 0
	if p.c >= 3 {
		channel = 1 // glTF keeps it in green
	}
	for y := 0; y < p.h; y += p.rows {
		for x := 0; x < p.w; x += 7 {
			v = append(v, p.im.At(x, y, channel))
		}
	}
	slices.Sort(v)
	mid := v[len(v)/2]
	f := Finding{Code: "maps.roughness", Part: m.name(), Number: Held(mid, "", "median"), Range: Between(0, 0.5, "a wet surface: common practice, no published source"), Good: mid <= 0.5}
	if !f.Good {
		f.Shows = Shows{Levels: 255 * 0.2 * mid, Text: "the eye is dry: no catchlight, a wide sheen"}
		f.Remedy.Step = "make the film smoother"
		if mid > 0.6 {
			f.Title = fmt.Sprintf("gloss taken for roughness? 1 - %.2f = %.2f would be wet", mid, 1-mid)
			f.Remedy.Step = "turn the map over: roughness = 1 - gloss"
			f.Least = Warning
		}
	}
	r.Add(f)
}
