// Command raybench measures the ray hierarchy on the rays that eyes send, beside the Embree library on the same rays in
// the same run where there is one, and checks that both hit the same triangles.
//
//	go run ./cmd/raybench -size 70k,500k,2m
//
// Rays per CPU second; contenders take turns, and ratios are medians over rounds. The reference is a small program that
// is built from testdata/raybench/embree.cpp (Debian: g++ and libembree-dev); without it our own figures stand alone.
package main

import (
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"catchlight/render/accel"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

func main() {
	size := flag.String("size", "70k", "sizes of the scene, by commas: 4k, 70k, 500k, 2m triangles")
	n := flag.Int("rays", 2_000_000, "rays a set")
	batch := flag.Int("batch", 120_000, "rays a turn")
	rounds := flag.Int("rounds", 7, "turns of each contender; 0 checks hits only")
	source := flag.String("source", "testdata/raybench/embree.cpp", "source of the reference program; none: do without")
	need := flag.Bool("need-reference", false, "fail where the reference can't be built")
	flag.Parse()
	if err := run(strings.Split(*size, ","), *n, *batch, *rounds, *source, *need); err != nil {
		fmt.Fprintln(os.Stderr, "raybench:", err)
		os.Exit(1)
	}
}

func run(names []string, n, batch, rounds int, source string, need bool) error {
	if n < 1 || batch < 1 || rounds < 0 {
		return errors.New("-rays and -batch must be above 0, -rounds not below 0")
	}
	dir, err := os.MkdirTemp("", "raybench-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	program := ""
	if source != "none" {
		program = filepath.Join(dir, "reference")
		if err := buildReference(source, program); err != nil {
			if need {
				return err
			}
			fmt.Println("without a reference:", err)
			program = ""
		}
	}
	fmt.Printf("kernel %s, %s, one thread\n", accel.Kernel(), runtime.Version())
	bad := false
	for _, name := range names {
		m, ok := sizes[name]
		if !ok {
			return fmt.Errorf("no size %q", name)
		}
		ok, err := bench(name, newShape(m[0], m[1]), n, batch, rounds, program, dir)
		if err != nil {
			return err
		}
		bad = bad || !ok
	}
	if bad {
		return errors.New("hits differ by more than silhouettes do")
	}
	return nil
}

// hitLimit is how many of two million rays may hit elsewhere than the reference's: edges seen from the side, where
// rounding decides.
const hitLimit = 20

// Long: one report, printed as it is measured.
func bench(name string, s *shape, n, batch, rounds int, program, dir string) (ok bool, err error) {
	runtime.GC()
	start := cpuSeconds()
	full, err := accel.Build(s.p, s.tri, accel.Options{})
	if err != nil {
		return false, err
	}
	spent := cpuSeconds() - start
	inner, err := accel.Build(s.p[:s.verts], s.tri[:s.inner], accel.Options{})
	if err != nil {
		return false, err
	}
	st := full.Stats()
	fmt.Printf("\n%s: %d triangles, built in %.2f CPU s; %.1f MB, %.1f bytes a triangle; %.0f %% paired, %.1f children a node\n",
		name, st.Triangles, spent, float64(st.Bytes)/1e6, float64(st.Bytes)/float64(st.Triangles), 100*st.Paired, st.Children)
	var ref *reference
	sets := s.sets(n)
	if program != "" {
		if ref, err = startReference(program, dir, s, sets); err != nil {
			return false, err
		}
		defer ref.stop()
		fmt.Println("reference:", ref.about)
	}
	fmt.Printf("%-9s %-40s %9s %9s %7s   %s\n", "set", "", "ours", "reference", "ratio", "hits: missed, extra, elsewhere")
	ok = true
	for i := range sets {
		q := &sets[i]
		h := full
		if q.shell == "inner" {
			h = inner
		}
		var ours, theirs, ratios []float64
		for r := range rounds {
			from := r * batch % max(1, len(q.rays)-batch)
			rays := q.rays[from:min(len(q.rays), from+batch)]
			rate := float64(len(rays)) / trace(h, rays, q.occluded, nil) / 1e6
			ours = append(ours, rate)
			if ref != nil {
				sec, err := ref.time(q, from, len(rays))
				if err != nil {
					return false, err
				}
				theirs = append(theirs, float64(len(rays))/sec/1e6)
				ratios = append(ratios, rate/theirs[r])
			}
		}
		line := fmt.Sprintf("%-9s %-40s", q.name, q.about)
		switch {
		case rounds == 0:
			line += strings.Repeat(" ", 29)
		case ref == nil:
			line += fmt.Sprintf(" %9.2f %9s %7s", median(ours), "-", "-")
		default:
			line += fmt.Sprintf(" %9.2f %9.2f %7.2f", median(ours), median(theirs), median(ratios))
		}
		mine := make([]float32, len(q.rays))
		trace(h, q.rays, q.occluded, mine)
		if q.name == "e-inner" {
			leaks := 0
			for _, t := range mine {
				if t < 0 {
					leaks++
				}
			}
			line += fmt.Sprintf("   leaks %d of %d", leaks, len(mine))
			ok = ok && leaks == 0
		}
		if ref != nil {
			other, err := ref.hits(q, dir)
			if err != nil {
				return false, err
			}
			missed, extra, elsewhere := 0, 0, 0
			for k, a := range mine {
				switch b := other[k]; {
				case a < 0 && b >= 0:
					missed++
				case a >= 0 && b < 0:
					extra++
				case a >= 0 && !q.occluded && math.Abs(float64(a-b)) > 1e-3*math.Max(1e-2, float64(b)):
					elsewhere++
				}
			}
			line += fmt.Sprintf("   %d, %d, %d", missed, extra, elsewhere)
			if missed+extra+elsewhere > hitLimit {
				ok = false
			}
		}
		fmt.Println(line)
	}
	if rounds > 0 {
		scaling(full, sets[0].rays, sets[2].rays)
	}
	return ok, nil
}

// trace casts rays and returns the CPU seconds it took. Into out, where there is one, go the distances, -1 for a miss.
func trace(h *accel.BVH, rays []ray, occluded bool, out []float32) float64 {
	sc := accel.NewScratch()
	var hit accel.Hit
	start := cpuSeconds()
	for i := range rays {
		r := &rays[i]
		o, d := geom.Vec{X: float64(r.ox), Y: float64(r.oy), Z: float64(r.oz)}, geom.Vec{X: float64(r.dx), Y: float64(r.dy), Z: float64(r.dz)}
		t := float32(-1)
		if occluded {
			if h.Occluded(sc, o, d, 0, float64(r.far)) {
				t = 0
			}
		} else if h.Closest(sc, o, d, 0, float64(r.far), &hit) {
			t = float32(hit.T)
		}
		if out != nil {
			out[i] = t
		}
	}
	return cpuSeconds() - start
}

func median(v []float64) float64 {
	w := slices.Clone(v)
	slices.Sort(w)
	return w[len(w)/2]
}

// scaling says how much faster two workers are than one, at rays and at arithmetic alone, by the clock.
func scaling(h *accel.BVH, sets ...[]ray) {
	arithmetic := func(int) {
		x := 1.0
		for i := range 3_000_000 {
			x = math.Sqrt(x*1.0001 + float64(i&7))
		}
		sink.Store(math.Float64bits(x))
	}
	gain := func(work func(i int), n int) float64 {
		var r []float64
		for range 5 {
			r = append(r, clock(work, n, 1)/clock(work, n, 2))
		}
		return median(r)
	}
	base := gain(arithmetic, 16)
	line := fmt.Sprintf("two workers: arithmetic %.2f times one", base)
	for k, rays := range sets {
		const chunk = 16384
		g := gain(func(i int) { trace(h, rays[i*chunk%(len(rays)-chunk):][:chunk], false, nil) }, 24)
		line += fmt.Sprintf("; %s %.2f (%.2f of it)", [...]string{"camera", "bounce"}[k], g, g/base)
	}
	fmt.Println(line)
}

var sink atomic.Uint64

// clock returns the seconds that n pieces of work take by that many workers.
func clock(work func(i int), n, workers int) float64 {
	start := time.Now()
	parallel.Each(n, workers, work)
	return time.Since(start).Seconds()
}
