package sampler

// Direction numbers of the first four Sobol dimensions. Dimension 0 is the van der Corput sequence; for the others
// degree and coefficients of the primitive polynomial and the first m values.
//
// Source: Joe and Kuo, Constructing Sobol sequences with better two-dimensional projections, SIAM J. Sci. Comput.
// 30, 2008, table new-joe-kuo-6 (dimensions 2 to 4 there).
var primitive = [3]struct {
	degree uint
	coeff  uint32
	m      [3]uint32
}{
	{1, 0, [3]uint32{1}},
	{2, 1, [3]uint32{1, 3}},
	{3, 1, [3]uint32{1, 3, 1}},
}

// directions returns v_0..v_31 of dimension d+1, binary fractions in 32 bits, by Sobol's recurrence.
func directions(d int) (v [32]uint32) {
	p := primitive[d]
	for k := uint(0); k < 32; k++ {
		if k < p.degree {
			v[k] = p.m[k] << (31 - k)
			continue
		}
		v[k] = v[k-p.degree] ^ v[k-p.degree]>>p.degree
		for j := uint(1); j < p.degree; j++ {
			if p.coeff>>(p.degree-1-j)&1 == 1 {
				v[k] ^= v[k-j]
			}
		}
	}
	return v
}

// table[b][n] holds dimensions 1 to 3, with their bits reversed, of the index n << 4b. Reversed, a point is what the
// scramble wants to work on, and dimension 0 is the index itself.
var table = func() (t [8][16][3]uint32) {
	for d := 0; d < 3; d++ {
		v := directions(d)
		for b := range t {
			for n := range t[b] {
				var x uint32
				for k := 0; k < 4; k++ {
					if n>>k&1 == 1 {
						x ^= v[4*b+k]
					}
				}
				for k := 0; k < 32; k++ {
					t[b][n][d] |= x >> k & 1 << (31 - k)
				}
			}
		}
	}
	return t
}()

// sobol returns dimensions 1 to 3 of point i with their bits reversed.
func sobol(i uint32) (r [3]uint32) {
	a, b, c, d := &table[0][i&15], &table[1][i>>4&15], &table[2][i>>8&15], &table[3][i>>12&15]
	r[0] = a[0] ^ b[0] ^ c[0] ^ d[0]
	r[1] = a[1] ^ b[1] ^ c[1] ^ d[1]
	r[2] = a[2] ^ b[2] ^ c[2] ^ d[2]
	if i >= 1<<16 {
		a, b, c, d = &table[4][i>>16&15], &table[5][i>>20&15], &table[6][i>>24&15], &table[7][i>>28]
		r[0] ^= a[0] ^ b[0] ^ c[0] ^ d[0]
		r[1] ^= a[1] ^ b[1] ^ c[1] ^ d[1]
		r[2] ^= a[2] ^ b[2] ^ c[2] ^ d[2]
	}
	return r
}

// sobol1 returns dimension 1 alone.
func sobol1(i uint32) uint32 {
	r := table[0][i&15][0] ^ table[1][i>>4&15][0] ^ table[2][i>>8&15][0] ^ table[3][i>>12&15][0]
	if i >= 1<<16 {
		r ^= table[4][i>>16&15][0] ^ table[5][i>>20&15][0] ^ table[6][i>>24&15][0] ^ table[7][i>>28][0]
	}
	return r
}
