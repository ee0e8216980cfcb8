package cover

import (
	"catchlight/scene/parallel"
	"fmt"
	"math"
)

// None is the triangle of a sample that nothing covers.
const None = ^uint32(0)

// Buffer holds the nearest triangle of each sample.
type Buffer struct {
	Width, Height int
	Samples       int       // per pixel
	Depth         []float32 // [pixel][sample], reversed: 1 at the near plane, -Inf where there is nothing
	ID            []uint32  // [pixel][sample]: triangle of the pass, or None
}

// patterns holds where the samples of a pixel lie, in 1/256 pixel from its top left: the middle, or grids that are turned so that
// samples share no row and no column.
var patterns = map[int][][2]int32{
	1: {{128, 128}},
	2: {{64, 64}, {192, 192}},
	4: {{96, 32}, {224, 96}, {32, 160}, {160, 224}},
	8: {{144, 80}, {112, 176}, {208, 144}, {80, 48}, {48, 208}, {16, 112}, {176, 240}, {240, 16}},
}

// CheckSamples returns an error for a number of samples that there is no pattern for.
func CheckSamples(n int) error {
	if patterns[n] == nil {
		return fmt.Errorf("%d samples per pixel; 1, 2, 4 and 8 are there", n)
	}
	return nil
}

// Offset returns where sample s of n lies in its pixel, in pixels from the top left.
func Offset(n, s int) (x, y float64) {
	p := patterns[n][s]
	return float64(p[0]) / subpixel, float64(p[1]) / subpixel
}

// tileSide is the side of the squares that workers draw, in pixels.
const tileSide = 32

// Draw draws the triangles with the given samples per pixel (see CheckSamples). Of triangles at the same depth the one that was added
// first stays, so the bits are the same whatever the workers.
func (p *Pass) Draw(samples, workers int) *Buffer {
	w, h := p.view.Width, p.view.Height
	b := &Buffer{Width: w, Height: h, Samples: samples, Depth: make([]float32, w*h*samples), ID: make([]uint32, w*h*samples)}
	for i := range b.ID {
		b.ID[i], b.Depth[i] = None, float32(math.Inf(-1)) // behind an orthographic view's far plane depth is negative
	}
	p.tiles(workers, func(list []uint32, x0, y0, x1, y1 int32) {
		for _, id := range list {
			t := &p.tris[id]
			t.draw(b, id, x0, y0, x1, y1, p.cuts[t.object])
		}
	})
	return b
}

// tiles sorts the triangles by the tiles that their boxes meet and calls f for each tile, from several goroutines, with them in order.
func (p *Pass) tiles(workers int, f func(list []uint32, x0, y0, x1, y1 int32)) {
	w, h := p.view.Width, p.view.Height
	nx, ny := (w+tileSide-1)/tileSide, (h+tileSide-1)/tileSide
	start := make([]int32, nx*ny+1)
	visit := func(f func(id, tile int)) {
		for id := range p.tris {
			x0, y0, x1, y1 := p.tris[id].box()
			x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, int32(w)-1), min(y1, int32(h)-1)
			if x0 > x1 || y0 > y1 {
				continue
			}
			for ty := y0 / tileSide; ty <= y1/tileSide; ty++ {
				for tx := x0 / tileSide; tx <= x1/tileSide; tx++ {
					f(id, int(ty)*nx+int(tx))
				}
			}
		}
	}
	visit(func(_, tile int) { start[tile+1]++ })
	for i := range nx * ny {
		start[i+1] += start[i]
	}
	list := make([]uint32, start[nx*ny])
	at := append([]int32(nil), start...)
	visit(func(id, tile int) {
		list[at[tile]] = uint32(id)
		at[tile]++
	})
	parallel.Each(nx*ny, workers, func(i int) {
		x, y := int32(i%nx*tileSide), int32(i/nx*tileSide)
		f(list[start[i]:start[i+1]], x, y, min(x+tileSide, int32(w)), min(y+tileSide, int32(h)))
	})
}

// box returns the pixels that the triangle may touch, both ends included.
func (t *triangle) box() (x0, y0, x1, y1 int32) {
	return min(t.x[0], t.x[1], t.x[2]) >> 8, min(t.y[0], t.y[1], t.y[2]) >> 8, max(t.x[0], t.x[1], t.x[2]) >> 8, max(t.y[0], t.y[1], t.y[2]) >> 8
}

// draw tests the samples of the pixels x0 <= x < x1, y0 <= y < y1; cut may be nil.
func (t *triangle) draw(b *Buffer, id uint32, x0, y0, x1, y1 int32, cut Cut) {
	bx0, by0, bx1, by1 := t.box()
	x0, y0, x1, y1 = max(x0, bx0), max(y0, by0), min(x1, bx1+1), min(y1, by1+1)
	ax, ay, c, bias := t.edges()
	k := 1 / float64(t.area)
	n := b.Samples
	pat := patterns[n]
	// What each sample adds to the edge functions of its pixel's corner, and the most that one of them does: where that is too little
	// for any edge, the pixel is passed by.
	var off [8][3]int64
	most := [3]int64{math.MinInt64, math.MinInt64, math.MinInt64}
	for s, o := range pat {
		for i := range most {
			off[s][i] = ax[i]*int64(o[0]) + ay[i]*int64(o[1])
			most[i] = max(most[i], off[s][i]+bias[i])
		}
	}
	for y := y0; y < y1; y++ {
		row := int(y) * b.Width
		px, py := int64(x0)*subpixel, int64(y)*subpixel
		e0, e1, e2 := ax[0]*px+ay[0]*py+c[0], ax[1]*px+ay[1]*py+c[1], ax[2]*px+ay[2]*py+c[2]
		for x := x0; x < x1; x, e0, e1, e2 = x+1, e0+ax[0]*subpixel, e1+ax[1]*subpixel, e2+ax[2]*subpixel {
			if (e0+most[0])|(e1+most[1])|(e2+most[2]) < 0 {
				continue
			}
			at := (row + int(x)) * n
			for s := range pat {
				o := &off[s&7]
				l0, l1, l2 := e0+o[0], e1+o[1], e2+o[2]
				if (l0+bias[0])|(l1+bias[1])|(l2+bias[2]) < 0 {
					continue
				}
				z := float32((float64(l0)*t.z[0] + float64(l1)*t.z[1] + float64(l2)*t.z[2]) * k)
				if z > b.Depth[at+s] {
					if cut != nil {
						if u, v := t.place(&[3]float64{float64(l0), float64(l1), float64(l2)}); cut(t.prim, u, v, at+s) {
							continue
						}
					}
					b.Depth[at+s], b.ID[at+s] = z, id
				}
			}
		}
	}
}
