package bake

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"

	"catchlight/scene/atlas"
	"catchlight/scene/parallel"
)

// form changes whenever the values of planes do, so that old ones are not taken for new ones.
const form = 1

// Work is a set's maps under way: what is cast, in passes with a low mesh each, onto planes in a folder.
type Work struct {
	Name    string // of the set, for file names; may be empty
	Tiles   []int
	Size, N int // texels a side; samples a side of a texel
	Passes  []Pass
	Dir     string // of the planes
	From    string // what all values depend on: sums of files, motions, cages

	planes map[int]map[Kind]*Planes // by tile
}

// Pass is some kinds that are made together.
type Pass struct {
	Bake  *Bake
	Kinds []Kind
	On    string // what the low mesh is, where it is not the file's own
}

// key says what a kind's values depend on.
func (w *Work) key(p *Pass, k Kind, tile int) Key {
	b := p.Bake
	q := struct {
		Form    int
		From    string
		Kind    Kind
		Tile, N int
		On      string
		Nearest bool
		Own     any
	}{form, w.From, k, tile, w.N, p.On, b.Nearest, nil}
	switch k {
	case Ambient:
		q.Own = []any{b.Occlusion, b.Seed, partNames(b.Blocker)}
	case Thick:
		q.Own = []any{b.Thickness, b.Seed}
	case IDs:
		q.Own = b.ID
	case Masks:
		q.Own = []any{b.ID, b.Soft, b.Seed}
	}
	text, err := json.Marshal(q)
	if err != nil { // numbers and words alone
		panic(err)
	}
	return sha256.Sum256(text)
}

// Keys are those of all kinds of a tile, in words, by kind: what files depend on.
func (w *Work) Keys(tile int) map[Kind]string {
	out := map[Kind]string{}
	for i := range w.Passes {
		for _, k := range w.Passes[i].Kinds {
			key := w.key(&w.Passes[i], k, tile)
			out[k] = hex.EncodeToString(key[:])
		}
	}
	return out
}

func partNames(s *Solid) (out []string) {
	for i := range s.Part {
		out = append(out, s.Part[i].Name)
	}
	return out
}

// Open opens the planes of all tiles; kinds named in anew are begun anew. It returns how many blocks are to be made.
func (w *Work) Open(anew []Kind) (todo int, err error) {
	if err := os.MkdirAll(w.Dir, 0o777); err != nil {
		return 0, err
	}
	w.planes = map[int]map[Kind]*Planes{}
	for _, tile := range w.Tiles {
		w.planes[tile] = map[Kind]*Planes{}
		for i := range w.Passes {
			p := &w.Passes[i]
			if err := p.Bake.Prepare(p.Kinds); err != nil {
				return 0, err
			}
			for _, k := range p.Kinds {
				path := w.path(tile, k)
				if slices.Contains(anew, k) {
					if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
						return 0, err
					}
				}
				q, err := OpenPlanes(path, w.key(p, k, tile), w.Size, w.Size, p.Bake.Channels(k))
				if err != nil {
					return 0, err
				}
				q.Check()
				w.planes[tile][k] = q
				for block := range q.sum {
					if !q.Done(block) {
						todo++
					}
				}
			}
		}
	}
	return todo, nil
}

// path is the file of a kind's planes.
func (w *Work) path(tile int, k Kind) string {
	name := fmt.Sprintf("%d_%s.planes", tile, k)
	if w.Name != "" {
		name = w.Name + "_" + name
	}
	return filepath.Join(w.Dir, name)
}

// Planes are those of a tile.
func (w *Work) Planes(tile int) map[Kind]*Planes { return w.planes[tile] }

// Close closes the planes.
func (w *Work) Close() error {
	var errs []error
	for _, t := range w.planes {
		for _, p := range t {
			errs = append(errs, p.Close())
		}
	}
	return errors.Join(errs...)
}

// Bytes is what the planes may take of the disk.
func (w *Work) Bytes() (n int64) {
	for _, t := range w.planes {
		for _, p := range t {
			n += p.Bytes()
		}
	}
	return n
}

// Run makes all blocks that are not there, and calls done after each with how many maps of a block it was. It stops soon after ctx ends;
// what is made stays.
func (w *Work) Run(ctx context.Context, workers int, done func(n int)) (Count, error) {
	var total Count
	var mu sync.Mutex
	var failed atomic.Pointer[error]
	for i := range w.Passes {
		p := &w.Passes[i]
		for _, tile := range w.Tiles {
			sheet := atlas.NewSheet(p.Bake.Low.Mesh, tile, w.Size, w.Size, w.N)
			planes := w.planes[tile]
			parallel.With(sheet.Blocks(), workers, func() *Brush { return &Brush{} }, func(k *Brush, block int) {
				if ctx.Err() != nil || failed.Load() != nil {
					return
				}
				var want []Kind
				for _, q := range p.Kinds {
					if !planes[q].Done(block) {
						want = append(want, q)
					}
				}
				if len(want) == 0 {
					return
				}
				some := false
				if !sheet.Empty(block) {
					some = p.Bake.Block(sheet, block, want, k)
					mu.Lock()
					total.Add(k.Count)
					mu.Unlock()
				}
				for j, q := range want {
					var data []float32
					if some {
						data = k.Out[j]
					}
					if err := planes[q].Put(block, data); err != nil {
						failed.Store(&err)
					}
				}
				mu.Lock()
				done(len(want))
				mu.Unlock()
			})
			if err := failed.Load(); err != nil {
				return total, *err
			}
			if err := ctx.Err(); err != nil {
				return total, err
			}
		}
	}
	return total, nil
}
