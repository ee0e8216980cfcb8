package film

import (
	"math"
	"testing"
)

// Halves against their definition: the two means weighted by their samples are the whole, the layer and the rest add up to
// the picture, and the variance of each mean is that of its own four replicates, as a statistics book has it:
// sum (x - mean)^2 / (n (n - 1)).
func TestHalves(t *testing.T) {
	f := film(t, Config{Width: 20, Height: 10, SPP: 24, Layers: []Layer{{"key", 0, AllClasses}}})
	s := f.Sample()
	for i := range f.Tiles() {
		render(f, &s, i, 24)
	}
	whole, key := f.Develop(), f.DevelopLayer(0)
	rest, layer := f.Halves(0)
	all, none := f.Halves(-1)
	for i, m := range whole.Mean {
		for c := range m {
			if d := (layer.Mean[0][i][c]+layer.Mean[1][i][c])/2 - key.Mean[i][c]; math.Abs(d) > 1e-12*key.Mean[i][c] {
				t.Fatalf("pixel %d: the halves of the layer miss it by %g", i, d)
			}
			if d := (all.Mean[0][i][c]+all.Mean[1][i][c])/2 - m[c]; math.Abs(d) > 1e-12*m[c] {
				t.Fatalf("pixel %d: the halves miss the whole by %g", i, d)
			}
			for h := range 2 {
				if d := rest.Mean[h][i][c] + layer.Mean[h][i][c] - all.Mean[h][i][c]; math.Abs(d) > 1e-12*m[c] {
					t.Fatalf("pixel %d: layer and rest of a half miss it by %g", i, d)
				}
			}
			for h := range 2 {
				var x [4]float64
				for k := range x {
					held := f.Hold(f.TileOf(i))
					at := (2*k+h)*blockPixels + held.at(i)
					x[k] = held.block.sums[4*at+c] / float64(held.block.counts[at])
					held.Release()
				}
				mean, sum := (x[0]+x[1]+x[2]+x[3])/4, 0.0
				for _, v := range x {
					sum += (v - mean) * (v - mean)
				}
				if v := all.Var[h][i][c]; math.Abs(v-sum/12) > 1e-9*sum {
					t.Fatalf("pixel %d: variance of half %d is %g, not %g", i, h, v, sum/12)
				}
			}
			if none.Mean[0][i][c] != 0 || none.Var[0][i][c] != 0 {
				t.Fatal("without a layer nothing is taken away")
			}
		}
	}
}
