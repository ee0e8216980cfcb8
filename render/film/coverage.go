package film

// HalvesAlpha returns the coverage by the even and by the odd replicates. Where one half has no sample the other stands in for it.
func (f *Film) HalvesAlpha() (alpha [2][]float64) { return f.HalvesAlphaRows(0, f.height) }

// HalvesAlphaRows is HalvesAlpha for rows y0 <= y < y1 alone.
func (f *Film) HalvesAlphaRows(y0, y1 int) (alpha [2][]float64) {
	n := f.width * (y1 - y0)
	alpha[0], alpha[1] = make([]float64, n), make([]float64, n)
	f.each(y0, y1, func(h *Held, x, y int) {
		b, p := h.block, (y-y0)*f.width+x
		var sum, total [2]float64
		for c := h.At(x, y); c < len(b.counts); c += blockPixels {
			k := c / blockPixels & 1
			sum[k] += b.sums[4*c+3]
			total[k] += float64(b.counts[c])
		}
		for k := range 2 {
			if total[k] == 0 {
				sum[k], total[k] = sum[1-k], total[1-k]
			}
			if total[k] > 0 {
				alpha[k][p] = sum[k] / total[k]
			}
		}
	})
	return alpha
}
