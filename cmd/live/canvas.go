package live

import (
	"math"

	"catchlight/scene/parallel"
)

// canvas is what a reader of the frames shows: the last picture with the boxes laid on it.
type canvas struct {
	of      string // what it is a picture of; empty: nothing
	size    [2]int
	rgba    []byte
	samples int
	mean    float64 // samples a pixel in the mean; parts may have more
	rough   bool    // made with smaller maps
	clean   bool    // without its grain
}

// lay puts a frame on the canvas.
func (c *canvas) lay(f *Frame, of string) {
	c.of, c.samples, c.rough, c.clean = of, f.Samples, f.Smaller, f.Clean
	if f.whole() {
		c.size, c.rgba = [2]int{f.Width, f.Height}, f.RGBA
		return
	}
	if c.size != [2]int{f.Width, f.Height} {
		c.rgba, c.size = c.scaled(f.Width, f.Height), [2]int{f.Width, f.Height}
	} else {
		c.rgba = append([]byte(nil), c.rgba...) // the last frame has it
	}
	n := 4 * (f.Box[2] - f.Box[0])
	for y := f.Box[1]; y < f.Box[3]; y++ {
		copy(c.rgba[4*(y*f.Width+f.Box[0]):], f.RGBA[(y-f.Box[1])*n:(y-f.Box[1]+1)*n])
	}
}

// scaled is the canvas at another size, interpolated linearly between the middles of its pixels, as a page does.
func (c *canvas) scaled(w, h int) []byte {
	out := make([]byte, 4*w*h)
	if c.rgba == nil {
		return out
	}
	parallel.Runs(h, 32, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range w {
				q := c.at((float64(x)+0.5)/float64(w), (float64(y)+0.5)/float64(h))
				for k, v := range q {
					out[4*(y*w+x)+k] = byte(v + 0.5)
				}
			}
		}
	})
	return out
}

// at is the canvas at a place of the film, 0 to 1.
func (c *canvas) at(u, v float64) (q [4]float64) {
	x, y := u*float64(c.size[0])-0.5, v*float64(c.size[1])-0.5
	x0, y0 := int(math.Floor(x)), int(math.Floor(y))
	fx, fy := x-float64(x0), y-float64(y0)
	for j := range 2 {
		for i := range 2 {
			a, b := min(max(x0+i, 0), c.size[0]-1), min(max(y0+j, 0), c.size[1]-1)
			k := (float64(1-i) + float64(2*i-1)*fx) * (float64(1-j) + float64(2*j-1)*fy)
			for ch, p := range c.rgba[4*(b*c.size[0]+a) : 4*(b*c.size[0]+a)+4] {
				q[ch] += k * float64(p)
			}
		}
	}
	return q
}

// better reports whether a frame, whose grain has the given standard error in levels, is nearer to the truth than what the canvas shows
// of the same. The frame stands for the truth but for its grain, which the canvas does not share: the mean square
// of their difference is the canvas's error squared and the grain's. So the frame is better where its grain is less than half
// of that square.
func (c *canvas) better(f *Frame, grain float64) bool {
	return c.apart(f) >= 2*grain*grain
}

// apart is the mean square of the difference between a frame and the canvas in its box, in levels.
func (c *canvas) apart(f *Frame) float64 {
	sum, n := 0.0, 0
	step := 1 + f.Width*f.Height/(1<<16)/4 // some 200,000 pixels at most
	bw := f.Box[2] - f.Box[0]
	for i := 0; i < bw*(f.Box[3]-f.Box[1]); i += step {
		x, y := f.Box[0]+i%bw, f.Box[1]+i/bw
		q := c.at((float64(x)+0.5)/float64(f.Width), (float64(y)+0.5)/float64(f.Height))
		for k := range 3 {
			d := float64(f.RGBA[4*i+k]) - q[k]
			sum += d * d
		}
		n += 3
	}
	return sum / float64(max(1, n))
}

// grainOf estimates the grain of a picture by itself, in levels: how far pixels lie from the mean of their four neighbours. Edges make
// it larger. The mean of four independent neighbours adds a quarter of a pixel's variance.
func grainOf(f *Frame) float64 {
	w, h := f.Box[2]-f.Box[0], f.Box[3]-f.Box[1]
	sum, n := 0.0, 0
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			i := 4 * (y*w + x)
			for k := range 3 {
				p := func(at int) float64 { return float64(f.RGBA[at+k]) }
				d := p(i) - (p(i-4)+p(i+4)+p(i-4*w)+p(i+4*w))/4
				sum += d * d
				n++
			}
		}
	}
	return math.Sqrt(sum / 1.25 / float64(max(1, n)))
}
