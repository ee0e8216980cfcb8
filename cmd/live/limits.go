package live

import (
	"math"
	"strings"
	"sync"

	"catchlight/scene"
)

// keysOf is the schema of scene files, made once.
var keysOf = sync.OnceValue(scene.Schema)

// limits are the ends that a key's value may have, by its path without names of entries (objects.iris.pupil); built takes those for an eye
// that is built here, where there are such. Open ends are moved in by a thousandth of the value or of one.
func limits(path string, built bool) (low, high float64) {
	k := keysOf()
	for name := range strings.SplitSeq(path, ".") {
		var in *scene.Key
		for _, c := range k.Keys {
			if c.Key == name {
				in = c
			}
		}
		if in == nil {
			return math.Inf(-1), math.Inf(1)
		}
		k = in
	}
	low, high = math.Inf(-1), math.Inf(1)
	for i, l := range []*scene.Limits{k.Limits, k.Built} {
		if l == nil || i == 1 && !built {
			continue
		}
		if l.Low != nil {
			if low = *l.Low; l.LowOpen {
				low += 1e-3 * max(1, math.Abs(low))
			}
		}
		if l.High != nil {
			if high = *l.High; l.HiOpen {
				high -= 1e-3 * max(1, math.Abs(high))
			}
		}
	}
	return low, high
}

// within brings a value into a key's limits.
func within(v float64, path string, built bool) float64 {
	low, high := limits(path, built)
	return min(max(v, low), high)
}

// round keeps so many digits behind the point.
func round(v float64, digits int) float64 {
	k := math.Pow10(digits)
	return math.Round(v*k) / k
}

// figures keeps so many significant digits.
func figures(v float64, n int) float64 {
	if v == 0 || math.IsInf(v, 0) {
		return v
	}
	return round(v, n-1-int(math.Floor(math.Log10(math.Abs(v)))))
}
