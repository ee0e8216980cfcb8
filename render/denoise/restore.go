package denoise

import "catchlight/scene/colour"

// giveBack makes up for light that the filter took or added: stray samples that it trusts little are mostly bright, and where a
// fit is replaced light has no negative. What each pixel lacks beside the mean of its halves goes to all pixels about it, in
// proportion to what they show, so that the sum over the picture stays what was traced. The reach is wide, so that no grain comes
// back with it. Pixels that have no grain neither give nor take. It returns how much of the picture's mean the filter had taken.
func (f *Filter) giveBack() (taken colour.RGB) {
	n := f.W * f.H
	raw, take := make([]colour.RGB, n), make([]colour.RGB, n)
	var want, have colour.RGB
	for i := range raw {
		if f.planes.sure[i] {
			continue
		}
		raw[i] = f.Half[0][i].Add(f.Half[1][i]).Scale(0.5)
		take[i] = f.out[i]
		want = want.Add(raw[i])
		taken = taken.Add(raw[i].Sub(take[i]))
	}
	tiny := f.planes.unit * f.planes.unit * least
	r := max(leastReach, (f.W+f.H)/12)
	about := f.blur(take, r)
	lack := make([]colour.RGB, n)
	for i := range lack {
		for k := range 3 {
			if about[i][k] > tiny { // else nothing about shows anything; sums of zeros may be off by their rounding
				lack[i][k] = (raw[i][k] - take[i][k]) / about[i][k]
			}
		}
	}
	lack = f.blur(lack, r)
	for i := range take {
		for k := range 3 {
			take[i][k] *= max(0, 1+lack[i][k])
		}
		have = have.Add(take[i])
	}
	for i := range take {
		if f.planes.sure[i] {
			continue
		}
		for k := range 3 {
			if have[k] > 0 && want[k] > 0 {
				f.out[i][k] = take[i][k] * want[k] / have[k]
			}
		}
	}
	return taken.Scale(1 / float64(n))
}

// leastReach is how far light is given back at least, in pixels to either side of one of two windows; else it is a sixth of the
// picture's edge.
const leastReach = 16

// blur returns sums over windows that reach r pixels to either side, twice: a pyramid of weights. It is its own adjoint.
func (f *Filter) blur(a []colour.RGB, r int) []colour.RGB {
	a, b := append([]colour.RGB(nil), a...), make([]colour.RGB, len(a))
	line := func(a, b []colour.RGB, at, step, n int) {
		var s colour.RGB
		for i := range min(r, n) {
			s = s.Add(a[at+i*step])
		}
		for i := range n {
			if i+r < n {
				s = s.Add(a[at+(i+r)*step])
			}
			b[at+i*step] = s
			if i-r >= 0 {
				s = s.Sub(a[at+(i-r)*step])
			}
		}
	}
	for range 2 {
		for y := range f.H {
			line(a, b, y*f.W, 1, f.W)
		}
		for x := range f.W {
			line(b, a, x, f.W, f.H)
		}
	}
	return a
}
