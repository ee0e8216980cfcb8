package film

import (
	"math"
	"testing"

	"catchlight/scene/colour"
)

// Other light by its definition: the picture without a layer plus the layer times its gain, in every replicate, and the error that the
// spread of the weighed replicates tells, as a statistics book has it. Gains of 1 give the bits of the picture.
func TestWeigh(t *testing.T) {
	f := film(t, Config{Width: 20, Height: 18, SPP: 2, Layers: []Layer{{"key", 0, AllClasses}, {"fill", 1, AllClasses}}})
	s := f.Sample()
	for i := range f.Tiles() {
		render(f, &s, i, 24)
	}
	whole, same := f.Rows(0, 18), f.Weigh(0, 18, []colour.RGB{colour.Grey(1), colour.Grey(1)})
	gains := []colour.RGB{{0, 2, 0.5}, {3, 1, 1}}
	got := f.Weigh(3, 18, gains)
	for i := range same.Mean {
		if same.Mean[i] != whole.Mean[i] || same.Error[i] != whole.Error[i] {
			t.Fatalf("pixel %d: gains of 1 change %v to %v", i, whole.Mean[i], same.Mean[i])
		}
	}
	for i, m := range got.Mean {
		h := f.Hold(f.TileOf(i + 60))
		for c := range m {
			var x [2]float64
			for k := range x {
				at := k*blockPixels + h.at(i+60)
				sum := h.block.sums[4*at+c]
				for l, g := range gains {
					sum += (g[c] - 1) * h.block.layers[l][3*at+c]
				}
				x[k] = sum / float64(h.block.counts[at])
			}
			if want := (x[0] + x[1]) / 2; math.Abs(m[c]-want) > 1e-12*want {
				t.Fatalf("pixel %d: %g, not %g", i, m[c], want)
			}
			if want := math.Abs(x[0]-x[1]) / 2; math.Abs(got.Error[i][c]-want) > 1e-9*(want+m[c]) {
				t.Fatalf("pixel %d: error %g, not %g", i, got.Error[i][c], want)
			}
		}
		h.Release()
	}
}
