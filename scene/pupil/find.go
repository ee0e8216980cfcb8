// Package pupil finds the pupil of an eye's inner shell, a hole of whatever shape, and warps the tissue about it to another
// size.
//
//	mesh --Find--> Pupil (contour, size, plane of the iris) --Warp--> the same mesh with a wider or narrower pupil
//
// Pupil is all that it finds, and its contour is At. Everything is measured about that contour, so slits and bars keep
// their shape. Widest says how far it can be warped before the tissue would fold.
//
// Lengths are in the unit of the mesh; angles are in radians from +X toward +Y of the eye's frame, +Z out of the cornea.
//
// Source: the way of looking for it and of warping it is our own.
package pupil

import (
	"math"
	"slices"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Pupil is what a look along the axis onto the inner shell shows. Lengths are those of the mesh.
type Pupil struct {
	Open    bool       // there is a hole
	Radius  float64    // mean radius of its contour
	Long    float64    // longest over shortest diameter of the contour
	Upright bool       // the longest one runs nearer to Y than to X
	Offset  [2]float64 // of the contour's centre from the axis, right and up in the eye's frame
	Plane   float64    // height of the iris plane (its median between pupil and root) above the globe's centre
	Lip     float64    // height of the contour's edge, the median

	contour [rays]float64 // distance of the contour from its centre, by azimuth
}

// cells along a side of the grid of heights, and directions in which the contour is measured.
const (
	cells = 513
	rays  = 128
)

// Find draws the heights of the inner shell along the axis into a grid and follows the hole about the middle.
// f is the frame of the eye about centre: N the axis, T up. reach is the half width of the look: the
// radius of the limbus.
func Find(m *mesh.Mesh, centre geom.Vec, f geom.Frame, reach float64) Pupil {
	z := heights(m, centre, f, reach)
	p := follow(z, reach, usual)
	if p.Open {
		return p
	}
	// A well with a floor may be too shallow for that. It is told from a bowl by its walls: higher up it is hardly wider.
	well, above := follow(z, reach, shallow), follow(z, reach, shallow/2)
	if well.Open && above.Open && above.Radius < 1.15*well.Radius {
		return well
	}
	return p
}

// Depths below the iris plane, as shares of the reach, at which a hole is followed: own choice.
const (
	usual   = 0.25
	shallow = 0.16
)

// follow follows the hole in a grid of heights at a depth below the iris plane, a share of the reach.
//
// Long: the hole is followed and its moments are summed in one walk.
func follow(z []float64, reach, share float64) Pupil {
	n := cells
	cell := 2 * reach / float64(n)
	at := func(x float64) int { return int(math.Floor((x + reach) / cell)) }
	// The iris plane: the median height of a ring where there is iris for every usual pupil, or where that shows no hole,
	// of one farther out, for wide ones.
	p := Pupil{Long: 1}
	deep, mid, ok := 0.0, 0, false
	for _, ring := range [][2]float64{{0.55, 0.75}, {0.75, 0.92}} {
		var ringed []float64
		for y := range n {
			for x := range n {
				px, py := (float64(x)+0.5)*cell-reach, (float64(y)+0.5)*cell-reach
				if r := math.Hypot(px, py); r > ring[0]*reach && r < ring[1]*reach && !math.IsInf(z[y*n+x], -1) {
					ringed = append(ringed, z[y*n+x])
				}
			}
		}
		if len(ringed) == 0 {
			continue
		}
		plane := median(ringed)
		if p.Plane == 0 {
			p.Plane = plane
		}
		// The hole: what is reached from the middle without climbing to within that share of the reach of the iris plane.
		deep = plane - share*reach
		if mid, ok = start(z, n, deep); ok {
			p.Plane = plane
			break
		}
	}
	if !ok {
		return p
	}
	seen := make([]bool, n*n)
	seen[mid] = true
	todo := []int{mid}
	var sx, sy, sxx, syy, sxy, area float64
	var lip []float64
	touches := false
	for len(todo) > 0 {
		i := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		x, y := i%n, i/n
		px, py := (float64(x)+0.5)*cell-reach, (float64(y)+0.5)*cell-reach
		sx, sy, area = sx+px, sy+py, area+1
		sxx, syy, sxy = sxx+px*px, syy+py*py, sxy+px*py
		if x == 0 || y == 0 || x == n-1 || y == n-1 {
			touches = true
			continue
		}
		for _, j := range []int{i - 1, i + 1, i - n, i + n} {
			switch {
			case seen[j]:
			case z[j] > deep:
				lip = append(lip, z[j])
			default:
				seen[j] = true
				todo = append(todo, j)
			}
		}
	}
	if touches || len(lip) == 0 {
		return p
	}
	p.Open = true
	p.Radius = math.Sqrt(area/math.Pi) * cell
	p.Offset = [2]float64{sx / area, sy / area}
	p.Lip = median(lip)
	// Second moments of an ellipse are a^2/4 and b^2/4.
	xx, yy, xy := sxx/area-p.Offset[0]*p.Offset[0], syy/area-p.Offset[1]*p.Offset[1], sxy/area-p.Offset[0]*p.Offset[1]
	d := math.Hypot((xx-yy)/2, xy)
	p.Long = math.Sqrt(((xx+yy)/2 + d) / max(1e-12, (xx+yy)/2-d))
	p.Upright = yy > xx
	p.outline(func(px, py float64) bool {
		x, y := at(px), at(py)
		return x >= 0 && y >= 0 && x < n && y < n && seen[y*n+x]
	}, reach, cell)
	return p
}

// heights draws the heights of a mesh along the axis into a grid of cells x cells over the look; -Inf where nothing lies.
func heights(m *mesh.Mesh, centre geom.Vec, f geom.Frame, reach float64) []float64 {
	n := cells
	z := make([]float64, n*n)
	for i := range z {
		z[i] = math.Inf(-1)
	}
	cell := 2 * reach / float64(n)
	local := make([]geom.Vec, len(m.P))
	for i, p := range m.P {
		local[i] = f.Local(p.Sub(centre))
	}
	at := func(x float64) int { return int(math.Floor((x + reach) / cell)) }
	for _, t := range m.Tri {
		a, b, c := local[t[0]], local[t[1]], local[t[2]]
		den := (b.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(b.Y-a.Y)
		if den == 0 {
			continue
		}
		x0, x1 := at(min(a.X, b.X, c.X)), at(max(a.X, b.X, c.X))
		y0, y1 := at(min(a.Y, b.Y, c.Y)), at(max(a.Y, b.Y, c.Y))
		for y := max(0, y0); y <= min(n-1, y1); y++ {
			for x := max(0, x0); x <= min(n-1, x1); x++ {
				px, py := (float64(x)+0.5)*cell-reach, (float64(y)+0.5)*cell-reach
				u := ((px-a.X)*(c.Y-a.Y) - (c.X-a.X)*(py-a.Y)) / den
				v := ((b.X-a.X)*(py-a.Y) - (px-a.X)*(b.Y-a.Y)) / den
				if u < 0 || v < 0 || u+v > 1 {
					continue
				}
				if h := a.Z + u*(b.Z-a.Z) + v*(c.Z-a.Z); h > z[y*n+x] {
					z[y*n+x] = h
				}
			}
		}
	}
	return z
}

// outline sets the contour: outward from the centre to the last place of the hole, smoothed over an eighth of a turn's share,
// with the area that was counted.
func (p *Pupil) outline(hole func(x, y float64) bool, reach, cell float64) {
	var raw [rays]float64
	for k := range raw {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / rays)
		for r := 0.0; r < reach; r += cell / 4 {
			if hole(p.Offset[0]+r*cos, p.Offset[1]+r*sin) {
				raw[k] = r
			}
		}
	}
	for k := range raw {
		sum, weight := 0.0, 0.0
		for j := -4; j <= 4; j++ {
			w := 5 - math.Abs(float64(j))
			sum += w * raw[(k+j+rays)%rays]
			weight += w
		}
		p.contour[k] = sum / weight
	}
	// The same area as counted.
	round := 0.0
	for _, r := range p.contour {
		round += r * r / rays
	}
	if round > 0 {
		for k := range p.contour {
			p.contour[k] *= p.Radius / math.Sqrt(round)
		}
	}
}

// start returns the cell from which the hole is followed: the middle, or where that is not deep, the deep cell nearest to
// it within half of the reach: a pupil beside the axis.
func start(z []float64, n int, deep float64) (at int, ok bool) {
	best := n * n / 16 // of the squared distance in cells
	for y := range n {
		for x := range n {
			if d := (x-n/2)*(x-n/2) + (y-n/2)*(y-n/2); d < best && z[y*n+x] <= deep {
				at, best, ok = y*n+x, d, true
			}
		}
	}
	return at, ok
}

// At returns the distance of the contour from its centre at an azimuth (rad, from +X toward +Y).
func (p *Pupil) At(phi float64) float64 {
	x := phi / (2 * math.Pi) * rays
	x -= math.Floor(x/rays) * rays
	k := int(x)
	f := x - float64(k)
	return p.contour[k%rays]*(1-f) + p.contour[(k+1)%rays]*f
}

func median(v []float64) float64 {
	w := slices.Clone(v)
	slices.Sort(w)
	return w[len(w)/2]
}
