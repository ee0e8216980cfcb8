package raster

// blocks holds the least of each square of side x side numbers of a map.
type blocks struct {
	side, n int // n blocks along the map's side
	least   []float32
}

// newBlocks makes them for a map of n x n numbers.
func newBlocks(v []float32, n, side int) blocks {
	b := blocks{side: side, n: (n + side - 1) / side}
	b.least = make([]float32, b.n*b.n)
	for j := range n {
		row := b.least[j/side*b.n : (j/side+1)*b.n]
		for i, q := range v[j*n : (j+1)*n] {
			if k := i / side; j%side == 0 && i%side == 0 || q < row[k] {
				row[k] = q
			}
		}
	}
	return b
}
