package denoise

import "math"

// lanes is how many pixels of a row the inner loops take at once: a strip.
const lanes = 8

// distances fills dst, n pixels of a row, with the sum over channels of the squared difference between the pixels at p and at q less
// what noise makes, in units of noise. Behind p and q lie planes: three channels, and their variances. n is a multiple of lanes.
func distances(dst, p, q []float32, plane, n int, eps, strict float32) {
	if useAVX2 {
		_, _, _ = dst[n-1], p[5*plane+n-1], q[5*plane+n-1]
		distancesAVX2(&dst[0], &p[0], &q[0], plane, n, eps, strict)
		return
	}
	clear(dst[:n])
	for c := range 3 {
		up, uq := p[c*plane:c*plane+n], q[c*plane:c*plane+n]
		vp, vq := p[(c+3)*plane:(c+3)*plane+n], q[(c+3)*plane:(c+3)*plane+n]
		for x := range up {
			d, a, b := up[x]-uq[x], vp[x], vq[x]
			dst[x] += (d*d - (a + min(a, b))) / (eps + strict*(a+b))
		}
	}
}

// columns fills dst with the sums of five rows of src.
func columns(dst, src []float32, stride, n int) {
	if useAVX2 {
		_, _ = dst[n-1], src[4*stride+n-1]
		columnsAVX2(&dst[0], &src[0], stride, n)
		return
	}
	for x := range n {
		dst[x] = src[x] + src[x+stride] + src[x+2*stride] + src[x+3*stride] + src[x+4*stride]
	}
}

// weights turns sums of columns into weights, n pixels of a row: the sum of five columns times share is the mean over a patch, far;
// the weight is exp(-max(0, far)), or 0 where far is past farthest, times trust. Strips of the row go to places stride apart.
func weights(dst, columns, share, trust []float32, stride, n int) {
	if useAVX2 {
		_, _, _, _ = dst[(n/lanes-1)*stride+lanes-1], columns[n+3], share[n-1], trust[n-1]
		weightsAVX2(&dst[0], &columns[0], &share[0], &trust[0], stride, n)
		return
	}
	for x := range n {
		far := (columns[x] + columns[x+1] + columns[x+2] + columns[x+3] + columns[x+4]) * share[x]
		w := float32(0)
		if far <= farthest {
			w = trust[x]
			if far > 0 {
				w *= float32(math.Exp(-float64(far)))
			}
		}
		dst[x/lanes*stride+x%lanes] = w
	}
}

// sums fills acc[j] of each lane with the sum over neighbours, n of them at off, of w, the value of plane fi and that of the plane j
// places behind fj.
func sums(acc []float32, count int, w, fi, fj []float32, plane int, off []int32) {
	n := len(off)
	if useAVX2 {
		for count > 0 {
			last := int(off[n-1])
			_, _ = w[n*lanes-1], fi[last+lanes-1]
			if count <= 4 {
				_, _ = acc[4*lanes-1], fj[3*plane+last+lanes-1]
				sums4AVX2(&acc[0], &w[0], &fi[0], &fj[0], plane, &off[0], n)
				return
			}
			_, _ = acc[9*lanes-1], fj[8*plane+last+lanes-1]
			sums9AVX2(&acc[0], &w[0], &fi[0], &fj[0], plane, &off[0], n)
			if count -= 9; count > 0 {
				acc, fj = acc[9*lanes:], fj[9*plane:]
			}
		}
		return
	}
	clear(acc[:count*lanes])
	for o, at := range off {
		var t [lanes]float32
		for x := range t {
			t[x] = w[o*lanes+x] * fi[int(at)+x]
		}
		for j := range count {
			f := fj[j*plane+int(at):][:lanes]
			a := acc[j*lanes:][:lanes]
			for x := range t {
				a[x] += t[x] * f[x]
			}
		}
	}
}

// kernels fills k with what each neighbour counts: w (b[0] + sum over features of b[i] f[i]), lane by lane.
func kernels(k, w, f []float32, plane int, off []int32, b []float32, features int) {
	n := len(off)
	if useAVX2 {
		_, _, _, _ = k[n*lanes-1], w[n*lanes-1], f[(features-1)*plane+int(off[n-1])+lanes-1], b[features*lanes+lanes-1]
		kernelsAVX2(&k[0], &w[0], &f[0], plane, &off[0], &b[0], features, n)
		return
	}
	for o, at := range off {
		for x := range lanes {
			s := b[x]
			for i := range features {
				s += b[(i+1)*lanes+x] * f[i*plane+int(at)+x]
			}
			k[o*lanes+x] = w[o*lanes+x] * s
		}
	}
}
