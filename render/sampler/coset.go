package sampler

// Cosets is how many successive replicates are parts of one net.
const Cosets = 8

// coset moves the points of a set to another part of its net: words to be added, digit by digit, to the four dimensions of a
// Sobol point with its bits reversed.
type coset [4]uint32

// cosets are the parts of a net. A point's index is read as a polynomial n(z) over the integers modulo 2, and the digits of its
// dimensions 0 to 3 depend on n modulo powers of z, z+1, z^2+z+1 and z^3+z+1. The part r adds r(z)/(z^3+z^2+1) to n, which has
// digits too. Together the first 2^k points of all parts are the image of a space of 2^(k+3) functions whose only poles lie at
// infinity and at the roots of z^3+z^2+1; a function of it that is not 0 has at most k+2 zeros. So in dimensions 0 and 1 every
// elementary interval of area 2^-(k+3) holds one point, for each k. A part alone is a shifted Sobol set, as good as any.
//
// Source: own derivation in the manner of Niederreiter and Xing's sequences from function fields (Finite Fields Appl. 2, 1996; from
// memory). A test derives the words by division of polynomials and counts the points in all intervals.
var cosets = func() (t [Cosets]coset) {
	one := [3]coset{
		{0xd3a74e9d, 0x72e5cb97, 0xb25ec97b, 0x3746b9ba},
		{0xa74e9d3a, 0x972e5cb9, 0x25ec97b2, 0x26e8d737},
		{0x4e9d3a74, 0xb972e5cb, 0x5ec97b25, 0x1cdd1ae6},
	}
	for r := range t {
		for b, w := range one {
			for d := range w {
				if r>>b&1 == 1 {
					t[r][d] ^= w[d]
				}
			}
		}
	}
	return t
}()

// orders are permutations of the parts of a net, four bits for each.
var orders = func() (t [1024]uint32) {
	r := Stream{step: 0x9e3779b97f4a7c15}
	for k := range t {
		p := [Cosets]uint32{0, 1, 2, 3, 4, 5, 6, 7}
		for i := Cosets - 1; i > 0; i-- {
			j := r.Uint64() % uint64(i+1)
			p[i], p[j] = p[j], p[i]
		}
		for i, v := range p {
			t[k] |= v << (4 * i)
		}
	}
	return t
}()

// place returns the index of the point in the set with the hash words h and g, and the part of the net that it lies in. The
// parts are in another order in each set, so that sets don't go together.
func (s *Sampler) place(h, g uint64) (i uint32, c *coset) {
	k := orders[(h^g)*0x9e3779b97f4a7c15>>54]
	return s.shuffle(uint32(h) ^ uint32(g>>32)), &cosets[k>>(4*s.coset)%Cosets]
}
