package atlas

import "math"

// Hash mixes whole numbers into one without pattern. Source: the finaliser of splitmix64 (Steele, Lea and Flood, OOPSLA 2014).
func Hash(words ...uint64) uint64 {
	h := uint64(0)
	for _, x := range words {
		h = Mix(h, x)
	}
	return h
}

// Mix takes one more word into a hash.
func Mix(h, x uint64) uint64 {
	h ^= x + 0x9e3779b97f4a7c15
	h = (h ^ h>>30) * 0xbf58476d1ce4e5b9
	h = (h ^ h>>27) * 0x94d049bb133111eb
	return h ^ h>>31
}

// Code returns v of 0 to 1 as a whole number up to top, rounded.
func Code(v float64, top int) int {
	return int(math.Round(float64(top) * max(0, min(1, v))))
}

// Dither is Code with noise of a triangular density, one code to either side, that depends on the place (x, y) in the picture and on
// its channel: the mean over texels is v, wherever v lies between two codes. 0 and 1 stay what they are.
func Dither(v float64, top, x, y, channel int) int {
	if !(v > 0) {
		return 0
	}
	if v >= 1 {
		return top
	}
	h := Hash(uint64(x), uint64(y), uint64(channel))
	n := float64(h>>32)/(1<<32) + float64(h&math.MaxUint32)/(1<<32) - 1
	return max(0, min(top, int(math.Floor(float64(top)*v+n+0.5))))
}
