package film

import "fmt"

// fits returns an error where another film has another shape, or is of another picture.
func (f *Film) fits(g *Film) error {
	if f.width != g.width || f.height != g.height || f.k != g.k {
		return fmt.Errorf("film: merge of %d x %d pixels in %d replicates with %d x %d in %d",
			f.width, f.height, f.k, g.width, g.height, g.k)
	}
	if f.record != g.record {
		return fmt.Errorf("film: merge of a film recorded as %q with one recorded as %q", f.record, g.record)
	}
	if len(f.layers) != len(g.layers) || len(f.passes) != len(g.passes) {
		return fmt.Errorf("film: merge of %d layers and %d passes with %d and %d", len(f.layers), len(f.passes), len(g.layers), len(g.passes))
	}
	if (f.splat == nil) != (g.splat == nil) || f.splat != nil && *f.splat != *g.splat {
		return fmt.Errorf("film: merge of samples that pixels share with others that they don't, or by another filter")
	}
	for i := range f.layers {
		if f.layers[i] != g.layers[i] {
			return fmt.Errorf("film: merge of layer %q with %q", f.layers[i].Name, g.layers[i].Name)
		}
	}
	for i := range f.passes {
		if f.passes[i] != g.passes[i] {
			return fmt.Errorf("film: merge of pass %q with %q", f.passes[i].Name, g.passes[i].Name)
		}
	}
	return nil
}

// Like returns an empty film of the same shape and record; resident and scratch are as in Config.
func (f *Film) Like(resident int64, scratch string) (*Film, error) {
	c := f.config()
	c.Resident, c.Scratch = resident, scratch
	return New(c)
}

// MergeError says which part could not be merged.
type MergeError struct {
	Part int // index among the parts
	Err  error
}

func (e *MergeError) Error() string { return e.Err.Error() }
func (e *MergeError) Unwrap() error { return e.Err }

// Merge takes over replicates that the parts have and f has not, tile by tile, so that each is read once. All must have the same
// shape, and no pixel may have the same replicate twice: replicates are never added up. After an error (a *MergeError) f may
// hold a part of what was asked for.
func (f *Film) Merge(parts ...*Film) error {
	for i, g := range parts {
		if err := f.fits(g); err != nil {
			return &MergeError{i, err}
		}
	}
	for t := range f.Tiles() {
		for i, g := range parts {
			if !g.pool.has(t) {
				continue
			}
			from := g.hold(t, false)
			to := f.hold(t, true)
			err := f.mergeTile(&to, &from)
			to.Release()
			from.Release()
			if err == nil {
				err = g.Err()
			}
			if err != nil {
				return &MergeError{i, err}
			}
		}
	}
	return f.Err()
}

func (f *Film) mergeTile(to, from *Held) error {
	a, b := to.block, from.block
	for c := range a.counts {
		if a.counts[c] > 0 && b.counts[c] > 0 {
			p := c % a.counted
			return fmt.Errorf("film: merge: replicate %d of pixel (%d, %d) is in both", c/a.counted, to.X0+p%TileSize, to.Y0+p/TileSize)
		}
	}
	per := a.cells / a.counted
	for c, n := range b.counts {
		if n == 0 {
			continue
		}
		a.counts[c] = n
		copy(part(a.sums, c, per*a.stride), part(b.sums, c, per*a.stride))
		if a.shares > 0 {
			copy(part(a.mass, c, a.shares), part(b.mass, c, a.shares))
		}
		for i := range a.layers {
			copy(part(a.layers[i], c, per*3), part(b.layers[i], c, per*3))
		}
	}
	for i, v := range b.cover {
		a.cover[i] += v
	}
	for p := range b.dropped {
		a.dropped[p] += b.dropped[p]
	}
	for i := range a.passes {
		for p := range a.passes[i] {
			a.passes[i][p].plus(b.passes[i][p])
		}
	}
	for i := range a.squares {
		for p := range a.squares[i] {
			a.squares[i][p].plus(b.squares[i][p])
		}
	}
	return nil
}
