package film

import (
	"bytes"
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"catchlight/scene/colour"
)

// crowded is a film that has room for few of its blocks in memory.
func crowded(t testing.TB, c Config, most int) *Film {
	f := film(t, c)
	f.pool.most, f.pool.scratch = most, t.TempDir()
	return f
}

// A film whose blocks go to disk and come back has the bits of one in memory, with seven workers and rounds between, and holds no more blocks
// than it may and its workers hold.
func TestSpillChangesNoBit(t *testing.T) {
	c := marsh()
	c.Width, c.Height = 150, 90
	want := film(t, c)
	f := crowded(t, c, 3)
	for round := range 3 {
		for _, g := range []*Film{want, f} {
			var group sync.WaitGroup
			for w := range 7 {
				group.Go(func() {
					s := g.Sample()
					for i := w; i < g.Tiles(); i += 7 {
						render(g, &s, i, 2+round)
					}
					s.Release()
				})
			}
			group.Wait()
		}
		if f.pool.loaded > 3 {
			t.Fatalf("%d blocks in memory", f.pool.loaded)
		}
	}
	if err := f.Err(); err != nil {
		t.Fatal(err)
	}
	if f.Spilled() == 0 {
		t.Fatal("nothing went to disk")
	}
	same(t, want.Develop(), f.Develop())
	if !f.Equal(want) {
		t.Error("sums differ")
	}
	a, _ := want.PassRows(0, 0, 90)
	b, _ := f.PassRows(0, 10, 20)
	for i := range b {
		if a[10*150+i] != b[i] {
			t.Fatal("rows differ from the whole")
		}
	}
}

// A film that is copied at any moment of its work, as the end of the process leaves it, opens with every tile as it was at the end of one of its rounds,
// no older than the last Keep, and goes on to the bits of one run.
//
// Long: what is looked at and what is written to are the same few names, in one story.
func TestKeptFileIsWholeAtAnyMoment(t *testing.T) {
	c := marsh()
	c.Width, c.Height, c.SPP = 70, 50, 8
	const rounds = 6
	want := film(t, c)
	s := want.Sample()
	var after [rounds + 1]Picture
	for r := range rounds {
		for i := range want.Tiles() {
			render(want, &s, i, 2)
		}
		after[r+1] = want.Develop()
	}
	dir := t.TempDir()
	path := filepath.Join(dir, "a.film")
	f := crowded(t, c, 2)
	rng := rand.New(rand.NewPCG(5, 6))
	var synced []place // at the last Keep
	var disk []byte
	look := func(kept int) {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		// What counted at the last Keep is there still, whatever of the later writes came to the disk.
		for _, at := range synced {
			if end := at.off + slotHead + int64(at.size); at.off > 0 && !bytes.Equal(b[at.off:end], disk[at.off:end]) {
				t.Fatal("a record that the last Keep brought to the disk is written over")
			}
		}
		// A record on its way to a free slot is half there.
		for _, list := range f.pool.disk.free {
			for _, off := range list {
				rng := rng.IntN(3)
				if rng > 0 {
					copy(b[off+slotHead+int64(rng*rng*rng*9):], bytes.Repeat([]byte{0xa5}, 60))
				}
			}
		}
		copied := filepath.Join(dir, "b.film")
		if err := os.WriteFile(copied, b, 0o666); err != nil {
			t.Fatal(err)
		}
		g, err := Open(copied, Opening{Write: true})
		if err != nil {
			t.Fatal(err)
		}
		p := g.Develop()
		if g.Err() != nil {
			t.Fatal(g.Err())
		}
		s := g.Sample()
		for i := range g.Tiles() {
			x, y, _, _ := g.Tile(i)
			n := int(p.Samples[y*c.Width+x]) / 2
			if n < kept {
				t.Fatalf("tile %d is as after round %d, round %d was kept", i, n, kept)
			}
			if n > 0 && p.Mean[y*c.Width+x] != after[n].Mean[y*c.Width+x] {
				t.Fatalf("tile %d is not as it was after round %d", i, n)
			}
			for range rounds - n {
				render(g, &s, i, 2)
			}
		}
		s.Release()
		same(t, want.Develop(), g.Develop())
		if err := g.Keep(copied); err != nil {
			t.Fatal(err)
		}
		g.Close()
		h, err := Open(copied, Opening{})
		if err != nil {
			t.Fatal(err)
		}
		if !h.Equal(want) || h.Damaged() != 0 {
			t.Fatalf("what was taken up and finished differs, or has %d damaged blocks", h.Damaged())
		}
		h.Close()
	}
	w := f.Sample()
	kept := 0
	for r := range rounds {
		for i := range f.Tiles() {
			render(f, &w, i, 2)
			w.Release()
			if r > 0 && i%7 == r {
				look(kept)
			}
		}
		if r%2 == 0 {
			if err := f.Keep(path); err != nil {
				t.Fatal(err)
			}
			kept = r + 1
			synced = slices.Clone(f.pool.disk.at)
			var err error
			if disk, err = os.ReadFile(path); err != nil {
				t.Fatal(err)
			}
		}
	}
	look(kept)
	if !f.Equal(want) {
		t.Error("the film itself differs")
	}
}

// One process alone writes to a film's file; a reader is refused meanwhile, and so is a writer while it is read.
func TestFilmsAreLocked(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.film")
	f, _ := saved(t)
	if err := f.Keep(path); err != nil {
		t.Fatal(err)
	}
	for _, write := range []bool{false, true} {
		if _, err := Open(path, Opening{Write: write}); !errors.Is(err, ErrBusy) || !strings.Contains(err.Error(), path) {
			t.Errorf("write %t: %v", write, err)
		}
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	g, err := Open(path, Opening{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Open(path, Opening{Write: true}); !errors.Is(err, ErrBusy) {
		t.Errorf("a film that is read: %v", err)
	}
	g.Close()
}

// A disk that gives nothing back is told, and is never taken for black.
func TestLostFileIsTold(t *testing.T) {
	c := marsh()
	c.Width = 200
	f := crowded(t, c, 2)
	s := f.Sample()
	for i := range f.Tiles() {
		render(f, &s, i, 2)
	}
	s.Release()
	f.pool.disk.file.Close()
	f.Develop()
	if err := f.Err(); err == nil || !strings.Contains(err.Error(), "the sums of the tile at") {
		t.Errorf("got %v", err)
	}
}

// Exact sums are those of whole numbers: against math/big, in any order, with signs and any size.
func TestExactSums(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var list []float64
	for range 4000 {
		v := math.Exp2(rng.Float64()*90-50) * rng.NormFloat64()
		list = append(list, v)
	}
	list = append(list, 1e15, -1e15, 3e-17, 1e-30, 0, -unit, unit)
	want := new(big.Int)
	for _, v := range list {
		q, _ := new(big.Float).SetMantExp(big.NewFloat(v), 56).Int(nil) // toward 0
		want.Add(want, q)
	}
	for range 5 {
		rng.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
		var parts [3]exact
		for i, v := range list {
			parts[i%3].add(v)
		}
		parts[2].plus(parts[0])
		parts[2].plus(parts[1])
		e := parts[2]
		got := new(big.Int).Lsh(big.NewInt(e.hi), 64)
		got.Add(got, new(big.Int).SetUint64(e.lo))
		if got.Cmp(want) != 0 {
			t.Fatalf("sum %v, want %v", got, want)
		}
		w, _ := new(big.Float).SetMantExp(new(big.Float).SetInt(want), -56).Float64()
		if v := e.value(unit); math.Abs(v-w) > 1e-15*math.Abs(w) {
			t.Errorf("value %v, want %v", v, w)
		}
	}
	var e exact
	e.add(math.NaN())
	e.add(math.Inf(1))
	if v := e.value(unit); v != mostExact {
		t.Errorf("NaN and infinity make %v", v)
	}
}

// Passes that share out the light add up to the picture, and the error of each is the textbook's: of the mean of n
// independent values sqrt((mean of squares - square of mean)/(n-1)).
func TestPasses(t *testing.T) {
	c := Config{Width: 20, Height: 20, SPP: 16, Passes: []Pass{{Layer{"lamp", 0, AllClasses}, true}, {Layer{"moon", 1, AllClasses}, true}, {Layer{"none", 5, AllClasses}, false}}}
	f, bare := film(t, c), film(t, Config{Width: 20, Height: 20, SPP: 16})
	for _, g := range []*Film{f, bare} {
		s := g.Sample()
		for i := range g.Tiles() {
			render(g, &s, i, 16)
		}
		s.Release()
	}
	whole := f.Develop()
	same(t, whole, bare.Develop())
	lamp, spread := f.PassRows(0, 0, 20)
	moon, _ := f.PassRows(1, 0, 20)
	none, no := f.PassRows(2, 0, 20)
	if no != nil || none[7] != (colour.RGB{}) {
		t.Error("a pass of no light")
	}
	for i, m := range whole.Mean {
		for k := range m {
			if d := lamp[i][k] + moon[i][k] - m[k]; math.Abs(d) > 1e-14*m[k] {
				t.Fatalf("pixel %d: passes miss the picture by %g", i, d)
			}
		}
		var sum, squares float64
		for j := range 16 {
			r, n := f.Place(j)
			v := shade(i, r, n)[1]
			sum, squares = sum+v, squares+v*v
		}
		want := math.Sqrt((squares/16 - sum*sum/256) / 15)
		if math.Abs(spread[i][1]-want) > 1e-9 {
			t.Fatalf("pixel %d: error %v, want %v", i, spread[i][1], want)
		}
	}
}

// Parts of which each has some replicates of some tiles make one film, block by block, with passes to the bit; their files hold what they have and
// little more.
func TestMergeManyParts(t *testing.T) {
	c := marsh()
	c.Width, c.Height, c.SPP = 80, 64, 8
	want := film(t, c)
	s := want.Sample()
	for i := range want.Tiles() {
		render(want, &s, i, 16)
	}
	s.Release()
	var whole bytes.Buffer
	if err := want.Save(&whole); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	const parts = 64
	var list []*Film
	for n := range parts {
		g := film(t, c)
		s := g.Sample()
		for i := range g.Tiles() {
			x0, y0, x1, y1 := g.Tile(i)
			for p := range (x1 - x0) * (y1 - y0) {
				pixel := (y0+p/(x1-x0))*c.Width + x0 + p%(x1-x0)
				for j := range 16 {
					r, m := g.Place(j)
					if (8*i+int(r))%parts != n {
						continue
					}
					s.Begin(pixel, r)
					v := shade(pixel, r, m)
					s.Add(0, 1, v)
					s.Add(1, 2, v.Scale(0.1))
					s.Cover(float64(j & 1))
					s.End()
				}
			}
		}
		s.Release()
		path := filepath.Join(dir, string(rune('A'+n))+".film")
		if err := g.Keep(path); err != nil {
			t.Fatal(err)
		}
		info, _ := os.Stat(path)
		if info.Size() > int64(whole.Len())/12 {
			t.Fatalf("part %d has %d bytes of %d", n, info.Size(), whole.Len())
		}
		g.Close()
		g, err := Open(path, Opening{Resident: 1})
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, g)
	}
	got := crowded(t, c, 2)
	if err := got.Merge(list...); err != nil {
		t.Fatal(err)
	}
	if !got.Equal(want) {
		t.Error("the parts make another film")
	}
	for i, g := range list {
		if g.pool.loaded > leastRead {
			t.Fatalf("part %d holds %d blocks", i, g.pool.loaded)
		}
	}
	err := got.Merge(list[5])
	var part *MergeError
	if !errors.As(err, &part) || part.Part != 0 || !strings.Contains(err.Error(), "is in both") {
		t.Errorf("a part given twice: %v", err)
	}
}
