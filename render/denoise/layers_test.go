package denoise

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/colour"
)

// split is a picture of two lamps: one even, one that a feature and an edge shape, with the layers of each.
func split(w, h int) (in *Input, layers [2][]colour.RGB, truth [2]func(x, y int) colour.RGB) {
	f := make([]float32, w*h)
	for i := range f {
		f[i] = float32(math.Sin(float64(i%w)/2) * math.Cos(float64(i/w)/3))
	}
	truth[0] = func(x, y int) colour.RGB { return colour.RGB{0.3, 0.25, 0.2} }
	truth[1] = func(x, y int) colour.RGB {
		if x > w/2 {
			return colour.RGB{0.02, 0.02, 0.03}
		}
		return colour.RGB{0.8, 0.7, 0.6}.Scale(1 + 0.4*float64(f[y*w+x]))
	}
	var parts [2]*Input
	for k := range parts {
		parts[k] = rough(w, h, uint64(3+k), truth[k], f)
		layers[k] = make([]colour.RGB, w*h)
		for i := range layers[k] {
			layers[k][i] = parts[k].Half[0][i].Add(parts[k].Half[1][i]).Scale(0.5)
		}
	}
	in = parts[0]
	for k := range 2 {
		for i := range in.Half[k] {
			in.Half[k][i] = in.Half[k][i].Add(parts[1].Half[k][i])
			in.Var[k][i] = in.Var[k][i].Add(parts[1].Var[k][i])
		}
	}
	return in, layers, truth
}

// Layers with the picture's weights add up to the picture, before and after it is balanced, and each lies nearer to its truth than
// it did.
func TestLayersAddUp(t *testing.T) {
	const w, h = 61, 35
	in, layers, truth := split(w, h)
	f, err := New(in, 2)
	require.NoError(t, err)
	_, err = f.ApplyTo([][]colour.RGB{layers[0][1:]}, nil, 1)
	require.ErrorContains(t, err, "layer 0 has")
	f.balance()
	got, err := f.ApplyTo(layers[:], nil, 2)
	require.NoError(t, err)
	alone, err := f.ApplyTo(layers[1:], nil, 1)
	require.NoError(t, err)
	require.Equal(t, got[1], alone[0], "whatever is filtered along")
	for i, m := range f.Mean {
		for c := range 3 {
			require.InDelta(t, m[c], got[0][i][c]+got[1][i][c], 2e-6*max(1, m[c]), "pixel %d", i)
		}
	}
	for k := range layers {
		before, after := rms(in, layers[k], truth[k], nil), rms(in, got[k], truth[k], nil)
		t.Logf("layer %d: %.4f before, %.4f after", k, before, after)
		require.Less(t, after, before/2)
	}
}

// A picture filtered in parts has the bits of the whole, and its layers too.
func TestPartsAreTheWhole(t *testing.T) {
	const w, h = 45, 83
	in, layers, _ := split(w, h)
	for k := range 2 {
		in.Alpha[k] = make([]float64, w*h)
		for i := range in.Alpha[k] {
			in.Alpha[k][i] = float64((i+k)%3) / 2
		}
	}
	want, err := New(in, 2)
	require.NoError(t, err)
	wantBalance := NewBalance(w, h)
	wantBalance.Add(want, 0)
	wantTaken := wantBalance.Settle(h)
	wantBalance.Apply(want, 0)
	wantLayers, err := want.ApplyTo(layers[:], nil, 1)
	require.NoError(t, err)

	var all Whole
	all.Add(in, 0, 40)
	all.Add(in, 40, h)
	b := NewBalance(w, h)
	var parts []*Filter
	for y := 0; y < h; y += 2 * Step {
		parts = append(parts, part(t, in, &all, y, min(h, y+2*Step)))
		b.Add(parts[len(parts)-1], y)
	}
	require.Equal(t, wantTaken, b.Settle(h))
	for k, p := range parts {
		y := k * 2 * Step
		b.Apply(p, y)
		n, from := (p.H-p.Top-p.Bottom)*w, p.Top*w
		require.Equal(t, want.Mean[y*w:y*w+n], p.Mean[from:from+n], "part %d", k)
		require.Equal(t, want.Cover[y*w:y*w+n], p.Cover[from:from+n], "part %d", k)
		up := (y - p.Top) * w
		cut := [][]colour.RGB{layers[0][up : up+p.W*p.H], layers[1][up : up+p.W*p.H]}
		got, err := p.ApplyTo(cut, nil, 1)
		require.NoError(t, err)
		for l := range got {
			require.Equal(t, wantLayers[l][y*w:y*w+n], got[l][from:from+n], "part %d", k)
		}
	}
}

// part filters rows [y0, y1) of a picture.
func part(t *testing.T, in *Input, all *Whole, y0, y1 int) *Filter {
	a, e := max(0, y0-Halo), min(in.H, y1+Halo)
	p := &Input{W: in.W, H: e - a, Top: y0 - a, Bottom: e - y1, Whole: all, Trust: in.Trust}
	for k := range 2 {
		p.Half[k], p.Var[k], p.Alpha[k] = in.Half[k][a*in.W:e*in.W], in.Var[k][a*in.W:e*in.W], in.Alpha[k][a*in.W:e*in.W]
	}
	for _, f := range in.Features {
		p.Features = append(p.Features, f[a*in.W:e*in.W])
	}
	f, err := New(p, 1)
	require.NoError(t, err)
	return f
}

// Frames of one pose and other seeds flicker less when each is denoised: in no patch of 4 x 4 pixels do pixels deviate more over the frames
// than the grain does, and over the picture they do less than half of it; so do the means of such patches, where a filter's
// stains would show.
func TestFramesDoNotFlicker(t *testing.T) {
	const w, h, frames = 48, 32, 8
	f := make([]float32, w*h)
	for i := range f {
		f[i] = float32(math.Sin(float64(i%w)/2) * math.Cos(float64(i/w)/3))
	}
	truth := func(x, y int) colour.RGB {
		if x > w/2 {
			return colour.RGB{0.05, 0.04, 0.04}
		}
		return colour.RGB{0.8, 0.7, 0.6}.Scale(1 + 0.4*float64(f[y*w+x]))
	}
	var raw, clean [frames][]colour.RGB
	for i := range frames {
		in := rough(w, h, uint64(100+i), truth, f)
		var err error
		clean[i], _, err = Clean(in, 2)
		require.NoError(t, err)
		raw[i] = make([]colour.RGB, w*h)
		for k := range raw[i] {
			raw[i][k] = in.Half[0][k].Add(in.Half[1][k]).Scale(0.5)
		}
	}
	// deviation over the frames of the green mean of the patch at x, y of n pixels a side
	deviation := func(of *[frames][]colour.RGB, x, y, n int) float64 {
		var s, q float64
		for i := range frames {
			m := 0.0
			for k := range n * n {
				m += of[i][(y+k/n)*w+x+k%n][1] / float64(n*n)
			}
			s, q = s+m/frames, q+m*m/frames
		}
		return math.Sqrt(max(0, q-s*s))
	}
	for _, n := range []int{1, 4} {
		var before, after float64
		worst := 0.0
		for y := 0; y < h; y += 4 {
			for x := 0; x < w; x += 4 {
				var a, b float64 // of a block of 4 x 4
				for k := 0; k < 16; k += n * n {
					u, v := deviation(&raw, x+k%4, y+k/4, n), deviation(&clean, x+k%4, y+k/4, n)
					a, b = a+u*u, b+v*v
				}
				before, after, worst = before+a, after+b, max(worst, math.Sqrt(b/a))
			}
		}
		t.Logf("patches of %d: %.3f of the grain's deviation over the picture, %.3f at worst", n, math.Sqrt(after/before), worst)
		if n == 1 { // of a mean of 4 x 4 the deviation over eight frames is known to a quarter alone
			require.Less(t, worst, 1.0)
		}
		require.Less(t, math.Sqrt(after/before), 0.5)
	}
}
