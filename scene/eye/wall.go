package eye

import "math"

// wallSteps is how many pieces of the wall its height is tabled at.
const wallSteps = 128

// wall is how far the inner shell has come up from the level of the iris' root to just below the outer shell, 0 to 1, from the
// root to the lip in equal steps of half chord.
//
// Colour is kept by direction from the globe's centre. A wall that climbs faster than those directions do shows each of them more
// than once: one colour all the way up, the fibres drawn out into streaks, and the iris once more outside the pale band. So
// the angle from the axis, seen from the globe's centre, grows all the way: by its slope on the flat of the iris at the
// root, by its slope on the globe at the lip, and evenly between.
type wall [wallSteps + 1]float64

// newWall makes the wall from the root (radius root, height low of the smooth iris) to the lip. Where the lip lies in no
// later direction than the root, which no angle can grow between, it rises by the fifth-degree step.
func newWall(p *Params, root, lip, low float64) (w wall) {
	prof := newProfile(p)
	shell := func(r float64) (x, z float64) {
		st := prof.front(r)
		return st.r - p.ShellGap*st.nr, st.z - p.ShellGap*st.nz
	}
	x, z := shell(lip)
	const d = 1e-3
	x1, z1 := shell(lip + d)
	length := lip - root
	first, last := math.Atan2(root, low), math.Atan2(x, z)
	// Slopes of the angle at both ends, and how far each is kept.
	m0, m1 := low/(root*root+low*low), (math.Atan2(x1, z1)-last)/d
	turn := last - first
	ease := min(0.2*length, 0.6*turn/max(1e-9, (m0+m1)/2-0.4*turn/length))
	for i := range w {
		s := float64(i) / wallSteps
		if turn <= 0 || ease <= 0 {
			w[i], _ = quintic(s)
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
		w[i] = min(1, max(0, (r-low*tan)/((z-low)*tan+r-x)))
	}
	w[0], w[wallSteps] = 0, 1
	return w
}

// at returns the share at s from 0 at the root to 1 at the lip.
func (w *wall) at(s float64) float64 {
	x := min(1, max(0, s)) * wallSteps
	i := min(int(x), wallSteps-1)
	return w[i] + (x-float64(i))*(w[i+1]-w[i])
}
