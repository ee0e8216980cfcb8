package atlas

import (
	"math"

	"catchlight/scene/parallel"
)

// Padding knows of each texel of a picture which covered texel is the nearest. It takes 4 bytes a texel.
type Padding struct {
	W, H int
	row  []uint16 // the nearest covered row in the texel's column
	col  []uint16 // the column of the nearest covered texel
	any  bool
}

// noRow is the row of a column without any.
const noRow = math.MaxUint16

// NewPadding finds the nearest covered texels of a picture of at most 65535 texels a side; cover has one entry a texel.
// Of equally near ones it is that of the left column, and in a column the upper one.
func NewPadding(w, h int, cover []bool) *Padding {
	p := &Padding{W: w, H: h, row: make([]uint16, w*h), col: make([]uint16, w*h)}
	parallel.Runs(w, 64, func(x0, x1 int) {
		for x := x0; x < x1; x++ {
			last := -1
			for y := range h {
				if cover[y*w+x] {
					last = y
				}
				p.row[y*w+x] = noRow
				if last >= 0 {
					p.row[y*w+x] = uint16(last)
				}
			}
			last = -1
			for y := h - 1; y >= 0; y-- {
				if cover[y*w+x] {
					last = y
				}
				if up := p.row[y*w+x]; last >= 0 && (up == noRow || last-y < y-int(up)) {
					p.row[y*w+x] = uint16(last)
				}
			}
		}
	})
	for x := range w {
		p.any = p.any || p.row[x] != noRow
	}
	parallel.Runs(h, 16, func(y0, y1 int) {
		hull, from := make([]int, w), make([]float64, w+1)
		for y := y0; y < y1; y++ {
			p.envelope(y, hull, from)
		}
	})
	return p
}

// envelope finds the nearest columns of a row: the lower envelope of the parabolas over its columns.
func (p *Padding) envelope(y int, hull []int, from []float64) {
	row := p.row[y*p.W : (y+1)*p.W]
	rise := func(x int) float64 { d := float64(y) - float64(row[x]); return d * d }
	n := 0
	for x := range row {
		if row[x] == noRow {
			continue
		}
		at := math.Inf(-1)
		for n > 0 {
			q := hull[n-1]
			at = (rise(x) - rise(q) + float64(x*x) - float64(q*q)) / float64(2*(x-q))
			if at > from[n-1] {
				break
			}
			n--
		}
		if n == 0 {
			at = math.Inf(-1)
		}
		hull[n], from[n] = x, at
		n++
	}
	k := 0
	for x := range row {
		if n == 0 {
			break
		}
		for k+1 < n && from[k+1] < float64(x) {
			k++
		}
		p.col[y*p.W+x] = uint16(hull[k])
	}
}

// Nearest returns the covered texel nearest to (x, y), and the square of its distance; ok is false where none is covered.
func (p *Padding) Nearest(x, y int) (nx, ny int, d2 float64, ok bool) {
	if !p.any {
		return 0, 0, 0, false
	}
	nx = int(p.col[y*p.W+x])
	ny = int(p.row[y*p.W+nx])
	dx, dy := float64(nx-x), float64(ny-y)
	return nx, ny, dx*dx + dy*dy, true
}

// Fill gives texels of a plane that are not covered the value of the nearest covered one, up to reach texels away; 0: however far.
// What lies further is filled from smaller copies of the picture. A picture without a covered texel stays as it is.
func (p *Padding) Fill(plane []float32, reach float64) {
	if !p.any {
		return
	}
	far := reach > 0
	left := make([]bool, 0)
	if far {
		left = make([]bool, p.W*p.H)
	}
	rest := make([]bool, p.H)
	parallel.Runs(p.H, 16, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range p.W {
				nx, ny, d2, _ := p.Nearest(x, y)
				switch {
				case d2 == 0:
				case far && d2 > reach*reach:
					left[y*p.W+x], rest[y] = true, true
				default:
					plane[y*p.W+x] = plane[ny*p.W+nx]
				}
			}
		}
	})
	for _, r := range rest {
		if r {
			pullPush(plane, left, p.W, p.H)
			return
		}
	}
}

// pullPush fills the texels that are left from a copy of half the size, in which they are filled likewise.
func pullPush(plane []float32, left []bool, w, h int) {
	cw, ch := (w+1)/2, (h+1)/2
	small, open := make([]float32, cw*ch), make([]bool, cw*ch)
	some := false
	for y := range ch {
		for x := range cw {
			sum, n := float32(0), float32(0)
			for k := range 4 {
				if i, j := 2*x+k%2, 2*y+k/2; i < w && j < h && !left[j*w+i] {
					sum += plane[j*w+i]
					n++
				}
			}
			if n == 0 {
				open[y*cw+x], some = true, true
				continue
			}
			small[y*cw+x] = sum / n
		}
	}
	if some && (cw > 1 || ch > 1) {
		pullPush(small, open, cw, ch)
	}
	parallel.Runs(h, 16, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range w {
				if !left[y*w+x] {
					continue
				}
				// Bilinear in the copy, whose texel i has its middle at 2 i + 1.
				u, v := (float64(x)+0.5)/2-0.5, (float64(y)+0.5)/2-0.5
				i, j := int(math.Floor(u)), int(math.Floor(v))
				fu, fv := float32(u-float64(i)), float32(v-float64(j))
				at := func(i, j int) float32 { return small[max(0, min(ch-1, j))*cw+max(0, min(cw-1, i))] }
				plane[y*w+x] = (1-fv)*((1-fu)*at(i, j)+fu*at(i+1, j)) + fv*((1-fu)*at(i, j+1)+fu*at(i+1, j+1))
			}
		}
	})
}
