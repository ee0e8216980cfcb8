package denoise

// solve returns the coefficients of a fit at one pixel: its value is the sum over neighbours of w (a[0] + sum of a[i] (f[i] - own[i])) y.
// They are the row of the constant in the inverse of the normal equations, by an LDL' decomposition with the constant last. m are the
// moments of a strip, own the pixel's features; zeros are so many neighbours of value 0 at the pixel itself.
func (b *worker) solve(m []float32, lane int, own *[maxDims + 1]float64, zeros float64) (a [maxDims + 1]float64, weight float64) {
	n := b.dims
	d := n - 1
	weight = float64(m[lane])
	var first [maxDims + 1]float64 // moments of the features themselves, about the pixel
	var l [maxDims + 1][maxDims + 1]float64
	for i := 1; i < n; i++ {
		first[i] = float64(m[i*lanes+lane])
	}
	// Row i of l is the feature i+1, the last row the constant.
	k := n * lanes
	for i := 1; i < n; i++ {
		for j := i; j < n; j++ {
			l[j-1][i-1] = float64(m[k+lane]) - own[i]*first[j] - own[j]*first[i] + own[i]*own[j]*weight
			k += lanes
		}
		l[i-1][i-1] += ridge*weight + hold
		l[d][i-1] = first[i] - own[i]*weight
	}
	l[d][d] = weight + zeros
	var inv [maxDims + 1]float64
	for i := range n {
		row := &l[i]
		for j := range i {
			s := row[j]
			for q := range j {
				s -= row[q] * l[j][q]
			}
			row[j] = s // times the pivot of j, until the row is done
		}
		s := row[i]
		for j := range i {
			v := row[j] * inv[j]
			s -= row[j] * v
			row[j] = v
		}
		inv[i] = 1 / max(s, 1e-300)
	}
	var x [maxDims + 1]float64
	x[d] = inv[d]
	a[0] = x[d]
	for i := d - 1; i >= 0; i-- {
		s := 0.0
		for q := i + 1; q < n; q++ {
			s -= l[q][i] * x[q]
		}
		x[i] = s
		a[i+1] = s
	}
	return a, weight
}

// set puts the coefficients of one lane where the inner loops read them: about the tile's middle, as the planes are.
func (b *worker) set(lane int, a, own *[maxDims + 1]float64) {
	c := a[0]
	for i := 1; i < b.dims; i++ {
		c -= a[i] * own[i]
		b.b[i*lanes+lane] = float32(a[i])
	}
	b.b[lane] = float32(c)
}
