package compare

import (
	"errors"
	"fmt"
	"math"

	"catchlight/scene/chart"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// Photo is a photograph or another picture from outside, in linear colours of Rec. 709.
type Photo struct {
	Width, Height int
	Pix           []colour.RGB
	Scene         bool    // holds scene light, as OpenEXR files do; else what is seen on a display
	Focal         float64 // focal length as on 35 mm film, in mm, where the file says it; else 0
	Notes         []string
}

// ReadPhoto reads a picture, upright. Coded ones (PNG, JPEG, TIFF) are taken as sRGB.
func ReadPhoto(path string) (*Photo, error) {
	data, err := imageio.ReadFile(path)
	if err != nil {
		return nil, err
	}
	pic, err := imageio.ReadBytes(path, data)
	if err != nil {
		return nil, err
	}
	if err := pic.Plain(true); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	taken := imageio.TakenFrom(data)
	known := len(pic.Notes) // of all channels, error bars too
	pic.Working()
	p := &Photo{Width: pic.W, Height: pic.H, Pix: make([]colour.RGB, pic.W*pic.H), Scene: !pic.Encoded, Focal: taken.Focal, Notes: pic.Notes[known:]}
	for c, plane := range pic.RGB() {
		for i, v := range plane {
			x := float64(v)
			if math.IsNaN(x) || math.IsInf(x, 0) {
				x = 0
			}
			if pic.Encoded {
				x = colour.DecodeSRGB(x)
			}
			p.Pix[i][c] = x
		}
	}
	return p.upright(taken.Turn), nil
}

// upright returns the photo as it is to be looked at, from an Exif orientation.
func (p *Photo) upright(turn int) *Photo {
	if turn < 2 {
		return p
	}
	out := *p
	w, h := p.Width, p.Height
	if turn >= 5 {
		out.Width, out.Height = h, w
	}
	out.Pix = make([]colour.RGB, len(p.Pix))
	for i := range out.Pix {
		x, y := i%out.Width, i/out.Width
		u, v := x, y // where it lies in the file
		switch turn {
		case 2:
			u = w - 1 - x
		case 3:
			u, v = w-1-x, h-1-y
		case 4:
			v = h - 1 - y
		case 5:
			u, v = y, x
		case 6:
			u, v = y, h-1-x
		case 7:
			u, v = w-1-y, h-1-x
		case 8:
			u, v = w-1-y, x
		}
		out.Pix[i] = p.Pix[v*w+u]
	}
	return &out
}

// Resize returns the photo at another size; each new pixel is the mean of what it covers.
func (p *Photo) Resize(width, height int) *Photo {
	out := &Photo{Width: width, Height: height, Pix: make([]colour.RGB, width*height), Scene: p.Scene, Focal: p.Focal, Notes: p.Notes}
	sx, sy := float64(p.Width)/float64(width), float64(p.Height)/float64(height)
	for y := range height {
		for x := range width {
			out.Pix[y*width+x] = p.mean(float64(x)*sx, float64(y)*sy, float64(x+1)*sx, float64(y+1)*sy)
		}
	}
	return out
}

// mean is the mean over a rectangle within the photo.
func (p *Photo) mean(x0, y0, x1, y1 float64) (sum colour.RGB) {
	all := 0.0
	for y := int(y0); y < min(int(math.Ceil(y1)), p.Height); y++ {
		for x := int(x0); x < min(int(math.Ceil(x1)), p.Width); x++ {
			w := (min(x1, float64(x+1)) - max(x0, float64(x))) * (min(y1, float64(y+1)) - max(y0, float64(y)))
			if w > 0 {
				sum, all = sum.Add(p.Pix[y*p.Width+x].Scale(w)), all+w
			}
		}
	}
	if all == 0 {
		return colour.RGB{}
	}
	return sum.Scale(1 / all)
}

// Patch returns the mean colour of the disc of radius r pixels about a place of the photo, and how far the luminance of one of
// its quarters lies from that of all, as a share: a patch that reaches over an edge is uneven. A patch that lies outside, is
// black, or is blown out in a coded photo is an error, as it tells nothing.
func (p *Photo) Patch(x, y, r float64) (mean colour.RGB, uneven float64, err error) {
	if !(r >= 0.5 && x-r >= 0 && y-r >= 0 && x+r <= float64(p.Width) && y+r <= float64(p.Height)) {
		return mean, 0, fmt.Errorf("a patch of radius %g px at %g,%g does not lie in the picture of %d x %d", r, x, y, p.Width, p.Height)
	}
	var sum colour.RGB
	var light, pixels [4]float64 // of the quarters
	n, blown := 0, 0
	for v := int(y - r); v < min(int(math.Ceil(y+r)), p.Height); v++ {
		for u := int(x - r); u < min(int(math.Ceil(x+r)), p.Width); u++ {
			if math.Hypot(float64(u)+0.5-x, float64(v)+0.5-y) > r {
				continue
			}
			c := p.Pix[v*p.Width+u]
			sum = sum.Add(c)
			n++
			k := 0
			if float64(u)+0.5 > x {
				k = 1
			}
			if float64(v)+0.5 > y {
				k += 2
			}
			light[k], pixels[k] = light[k]+c.Luminance(), pixels[k]+1
			if !p.Scene && c.Max() >= 0.995 {
				blown++
			}
		}
	}
	if n == 0 {
		return mean, 0, fmt.Errorf("a patch of radius %g px at %g,%g holds no pixel's middle", r, x, y)
	}
	sum = sum.Scale(1 / float64(n))
	switch {
	case min(sum[0], sum[1], sum[2]) <= 0:
		return sum, 0, fmt.Errorf("the patch at %g,%g is black in a channel: it tells no white", x, y)
	case blown*10 > n:
		return sum, 0, fmt.Errorf("the patch at %g,%g is blown out in %.0f %% of its pixels: it tells no exposure", x, y, 100*float64(blown)/float64(n))
	}
	for k, l := range light {
		if pixels[k] > 0 {
			uneven = max(uneven, math.Abs(l/(pixels[k]*sum.Luminance())-1))
		}
	}
	return sum, uneven, nil
}

// Grey returns the gains that turn a patch into target.
func Grey(patch, target colour.RGB) (gains colour.RGB) {
	for c, v := range patch {
		gains[c] = target[c] / v
	}
	return gains
}

// Chart returns the colours of the 24 patches of a colour chart, row by row, from the middles of its four corner patches in
// the photo: first, sixth, last and nineteenth (dark skin, bluish green, black, white).
func (p *Photo) Chart(corners [4][2]float64) ([]colour.RGB, error) {
	rows := len(chart.Patches)/chart.Columns - 1
	h, err := homography(corners)
	if err != nil {
		return nil, err
	}
	var out []colour.RGB
	var errs []error
	for i := range chart.Patches {
		u, v := float64(i%chart.Columns)/(chart.Columns-1), float64(i/chart.Columns)/float64(rows)
		x, y := h.at(u, v)
		x1, y1 := h.at(u+0.25/(chart.Columns-1), v)
		x2, y2 := h.at(u, v+0.25/float64(rows))
		r := min(math.Hypot(x1-x, y1-y), math.Hypot(x2-x, y2-y))
		c, _, err := p.Patch(x, y, r)
		if err != nil && c.Black() { // saturated patches may well be black in a channel
			errs = append(errs, fmt.Errorf("%s: %w", chart.Patches[i].Name, err))
		}
		out = append(out, c)
	}
	return out, errors.Join(errs...)
}

// Neutral returns the gains that bring the chart's greys, as seen in the photo's patches, nearest to target, which says what
// each reflectance ought to be. Greys that are blown out are left out; dark ones count little, as squares are least.
func Neutral(patches []colour.RGB, target func(reflectance float64) colour.RGB) (gains colour.RGB, err error) {
	first := len(chart.Patches) - chart.Columns
	if len(patches) != len(chart.Patches) {
		return gains, fmt.Errorf("compare: %d patches of a chart of %d", len(patches), len(chart.Patches))
	}
	var up, down colour.RGB
	for i, p := range patches[first:] {
		t := target(chart.Patches[first+i].Linear().Luminance())
		if p.Max() >= 0.995 {
			continue
		}
		for c, v := range p {
			up[c], down[c] = up[c]+t[c]*v, down[c]+v*v
		}
	}
	for c := range gains {
		if !(up[c] > 0 && down[c] > 0) {
			return gains, errors.New("the chart's greys are black or blown out: they tell no white")
		}
		gains[c] = up[c] / down[c]
	}
	return gains, nil
}

// ChartError is the mean CIEDE2000 difference between patches of reflectances and the chart's published colours.
func ChartError(patches []colour.RGB) float64 {
	sum := 0.0
	for i, p := range patches {
		sum += chart.Difference(chart.Lab(p), chart.Patches[i].Lab)
	}
	return sum / float64(len(patches))
}

// projective maps the unit square onto a quadrangle.
type projective struct{ a, b, c, d, e, f, g, h float64 }

func (p *projective) at(u, v float64) (x, y float64) {
	w := p.g*u + p.h*v + 1
	return (p.a*u + p.b*v + p.c) / w, (p.d*u + p.e*v + p.f) / w
}

// homography takes (0,0), (1,0), (1,1), (0,1) to the corners.
//
// Source: Heckbert, Fundamentals of Texture Mapping and Image Warping, thesis, UC Berkeley, 1989, section 2.2.3.
func homography(q [4][2]float64) (projective, error) {
	dx1, dx2, sx := q[1][0]-q[2][0], q[3][0]-q[2][0], q[0][0]-q[1][0]+q[2][0]-q[3][0]
	dy1, dy2, sy := q[1][1]-q[2][1], q[3][1]-q[2][1], q[0][1]-q[1][1]+q[2][1]-q[3][1]
	det := dx1*dy2 - dx2*dy1
	// All corners must turn the same way.
	turn := 0.0
	for i := range 4 {
		a, b, c := q[i], q[(i+1)%4], q[(i+2)%4]
		z := (b[0]-a[0])*(c[1]-b[1]) - (b[1]-a[1])*(c[0]-b[0])
		if !(z*turn > 0 || i == 0 && math.Abs(z) > 1) {
			return projective{}, fmt.Errorf("the corners %v of the chart make no quadrangle that goes round: give dark skin, bluish green, black, white", q)
		}
		turn = z
	}
	g, h := (sx*dy2-dx2*sy)/det, (dx1*sy-sx*dy1)/det
	return projective{
		q[1][0] - q[0][0] + g*q[1][0], q[3][0] - q[0][0] + h*q[3][0], q[0][0],
		q[1][1] - q[0][1] + g*q[1][1], q[3][1] - q[0][1] + h*q[3][1], q[0][1], g, h,
	}, nil
}
