package live

import "slices"

// The sizes of the first pictures of a run, longer side in pixels, before the wanted one.
var drafts = []int{64, 128}

const (
	leastSize   = 16
	mostSize    = 4096
	defaultSize = 384

	// quick is how long a picture may take while something is dragged, in seconds.
	quick = 0.1
)

// wanted is the longer side of the finest picture.
func (v *View) wanted() int {
	n := max(v.Width, v.Height)
	if n == 0 {
		n = defaultSize
	}
	return min(max(n, leastSize), mostSize)
}

// pace remembers how long pictures take.
type pace struct{ perPixel float64 } // seconds of one sample a pixel; 0: not known yet

// took takes in what a sample of so many pixels took.
func (p *pace) took(seconds float64, pixels int) {
	if pixels < 1 || !(seconds > 0) {
		return
	}
	s := seconds / float64(pixels)
	if p.perPixel == 0 {
		p.perPixel = s
	}
	p.perPixel += 0.3 * (s - p.perPixel)
}

// sizes returns the longer sides of a run's pictures, rising. While something is dragged it is one size: the largest that is quick.
func (p *pace) sizes(v *View, aspect float64) []int {
	most := v.wanted()
	all := append(slices.DeleteFunc(slices.Clone(drafts), func(n int) bool { return n >= most }), most)
	if !v.Drag {
		return all
	}
	steps := []int{64, 96, 128, 192, 256, 384, 512, 768}
	best := min(steps[0], most)
	for _, n := range steps {
		if n <= most && p.perPixel > 0 && p.perPixel*float64(n*n)*aspect <= quick {
			best = n
		}
	}
	return []int{best}
}

// next returns the samples a pixel of the next picture after one of n: twice as many, at most as many as the scene asks for.
func next(n, spp int) int { return min(max(1, 2*n), spp) }
