package measure

import (
	"fmt"
	"math"
	"slices"
)

// Value is one measured quantity.
type Value struct {
	V    float64 // the number; means nothing where Held is false
	SE   float64 // its standard error, same unit
	By   string  // the definition by which it was measured
	N    int     // vertices (or directions) that it rests on
	Held bool    // the mesh determines it
	Why  string  // where it is not held: the reason
}

// none is a value that is not held.
func none(by, format string, a ...any) Value {
	return Value{By: by, Why: fmt.Sprintf(format, a...), V: math.NaN(), SE: math.Inf(1)}
}

// String gives the number with its error and definition, or why there is none.
func (v Value) String() string {
	if !v.Held {
		return fmt.Sprintf("%s: not held, %s", v.By, v.Why)
	}
	return fmt.Sprintf("%s +- %s (%s, from %d)", short(v.V), short(v.SE), v.By, v.N)
}

func short(x float64) string { return fmt.Sprintf("%.3g", x) }

// Agree says whether two independent measures of one thing agree: they differ by no more than share of their mean, and
// the error of their difference is no larger, so that it is no accident. Where two definitions are of one thing in the
// body but not quite of one line, share is how far they may lie apart. Two values of which one is not held do not agree.
func Agree(a, b Value, share float64) bool {
	if !a.Held || !b.Held {
		return false
	}
	most := share * math.Abs(a.V+b.V) / 2
	return math.Abs(a.V-b.V) <= most && math.Hypot(a.SE, b.SE) <= most
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	w := slices.Clone(v)
	slices.Sort(w)
	n := len(w)
	return (w[(n-1)/2] + w[n/2]) / 2
}

// spread returns the standard deviation of a normal distribution with the median absolute deviation of v about 0.
func spread(v []float64) float64 {
	w := make([]float64, len(v))
	for i, x := range v {
		w[i] = math.Abs(x)
	}
	return 1.482602218505602 * median(w)
}

// jackknife returns the standard error of an estimate from its values with one of the groups left out each.
// Source: Efron, The Jackknife, the Bootstrap and Other Resampling Plans (1982), chapter 3.
func jackknife(v []float64) float64 {
	n := float64(len(v))
	if n < 2 {
		return math.Inf(1)
	}
	mean, sum := 0.0, 0.0
	for _, x := range v {
		mean += x / n
	}
	for _, x := range v {
		sum += (x - mean) * (x - mean)
	}
	return math.Sqrt((n - 1) / n * sum)
}
