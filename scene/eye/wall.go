package eye

import "math"

// wallSteps is how many pieces of the wall its height is tabled at.
const wallSteps = 128

// wall is how far the inner shell has come up from the level of the iris to just below the outer shell, 0 to 1, from its foot to the
// lip in equal steps of half chord. The iris runs on up it.
//
// Colour is kept by direction from the globe's centre. A wall that climbs faster than those directions do shows each of them more
// than once: one colour all the way up, the fibres drawn out into streaks, and the iris once more outside the pale band. So
// the angle from the axis, seen from the globe's centre, grows all the way: by its slope on the flat of the iris at the
// foot, by its slope on the globe at the lip, and evenly between.
type wall struct {
	foot, lip float64 // half chords, mm
	up        [wallSteps + 1]float64
}

// leastTurn is how fast the angle grows up the wall in the mean, over its slope on the flat. A limbus that is narrow leaves too
// little angle between root and lip: its wall begins further in, on the iris.
const leastTurn = 0.4

// newWall makes the wall from the root (radius root, height low of the smooth iris) or further in to the lip. Where the lip lies in no
// later direction than any foot, which no angle can grow between, it rises by the fifth-degree step.
func newWall(p *Params, root, lip, low float64) wall {
	prof := newProfile(p)
	shell := func(r float64) (x, z float64) {
		st := prof.front(r)
		return st.r - p.ShellGap*st.nr, st.z - p.ShellGap*st.nz
	}
	x, z := shell(lip)
	const d = 1e-3
	x1, z1 := shell(lip + d)
	last := math.Atan2(x, z)
	turns := func(r float64) bool { return last-math.Atan2(r, low) >= leastTurn*(lip-r)*low/(r*r+low*low) }
	far := 0.7 * root
	foot := root
	for foot > far && !turns(foot) {
		foot -= 0.01
	}
	if turns(foot) { // else nothing is won: a deep iris behind a narrow limbus keeps its width
		root = foot
	}
	w := wall{foot: root, lip: lip}
	length := lip - root
	first := math.Atan2(root, low)
	// Slopes of the angle at both ends, and how far each is kept.
	m0, m1 := low/(root*root+low*low), (math.Atan2(x1, z1)-last)/d
	turn := last - first
	ease := min(0.2*length, 0.6*turn/max(1e-9, (m0+m1)/2-0.4*turn/length))
	for i := range w.up {
		s := float64(i) / wallSteps
		if turn <= 0 || ease <= 0 {
			w.up[i], _ = quintic(s)
			continue
		}
		even := (turn - ease*(m0+m1)/2) / (length - ease)
		r := root + s*length
		in, out := min(ease, r-root), min(ease, lip-r)
		// The slope falls from m0 to even over the first ease mm and rises to m1 over the last.
		angle := first + even*(r-root) + (m0-even)*(in-in*in/(2*ease)) + (m1-even)*(ease-out)*(ease-out)/(2*ease)
		// The share t at which the point between root and shell lies in that direction.
		x, z := shell(r)
		tan := math.Tan(angle)
		w.up[i] = min(1, max(0, (r-low*tan)/((z-low)*tan+r-x)))
	}
	w.up[0], w.up[wallSteps] = 0, 1
	return w
}

// at returns the share r mm from the axis: 0 up to the foot, 1 from the lip on.
func (w *wall) at(r float64) float64 {
	x := min(1, max(0, (r-w.foot)/(w.lip-w.foot))) * wallSteps
	i := min(int(x), wallSteps-1)
	return w.up[i] + (x-float64(i))*(w.up[i+1]-w.up[i])
}
