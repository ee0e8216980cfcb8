package main

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"catchlight/scene/eye"
	"catchlight/scene/grown"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
)

// strandFlags are those of an iris of one's own strands.
type strandFlags struct {
	file, guide string
	span        []float64
	own         eye.Own
}

func (s *strandFlags) add(f *pflag.FlagSet) {
	f.StringVar(&s.file, "strands", "", "clusters of strands of your own for the iris: .glb, .gltf or .obj; each node or object is a cluster, each piece of it a strand that runs from the pupil along +Y")
	f.IntVar(&s.own.Count, "strands-count", 0, "how many clusters round the pupil, 1 to 400; 0 as many as fill it")
	f.Float64SliceVar(&s.span, "strands-range", []float64{0.3, 1}, "where they begin and end: shares of the way from the pupil's margin to the root")
	f.Float64Var(&s.own.Gap, "strands-gap", 0.4, "how uneven the gaps between them are, 0 to 1")
	f.Float64Var(&s.own.Vary, "strands-vary", 0.8, "how much of each copy is new, 0 to 1; below 0.7 copies show")
	f.Float64Var(&s.own.Bend, "strands-bend", 1, "how far they follow the lean of the built fibres, 0 to 1")
	f.BoolVar(&s.own.Mirror, "strands-mirror", true, "turn some over")
	f.Uint64Var(&s.own.Seed, "strands-seed", 1, "seed of where they go and of what varies")
	f.StringVar(&s.guide, "guide", "", "height map of the iris that the relief follows in its broad form: a square picture from root to root")
	f.Float64Var(&s.own.Lift, "guide-amount", 0.1, "how many mm the guide's black and white lie apart, -0.3 to 0.3")
}

// read reads what was asked for; nil where nothing was.
func (s *strandFlags) read() (*eye.Own, error) {
	if s.file == "" && s.guide == "" {
		return nil, nil
	}
	o := s.own
	if len(s.span) != 2 {
		return nil, usageError{errors.New("--strands-range: give two shares, for instance 0.3,1")}
	}
	o.From, o.To = s.span[0], s.span[1]
	var err error
	if s.file != "" {
		if o.Clusters, err = readClusters(s.file); err != nil {
			return nil, usageError{fmt.Errorf("--strands: %w", err)}
		}
	}
	if s.guide == "" {
		o.Lift = 0
	} else {
		p, err := imageio.Read(s.guide)
		if err != nil {
			return nil, usageError{fmt.Errorf("--guide: %w", err)}
		}
		if p.W != p.H || p.W < 2 {
			return nil, usageError{fmt.Errorf("--guide %s: %d x %d pixels; it must be square, from root to root of the iris", s.guide, p.W, p.H)}
		}
		o.Guide, o.Side = p.RGB()[0], p.W
	}
	if err := o.Check(); err != nil {
		return nil, usageError{fmt.Errorf("--strands, --guide: %w", err)}
	}
	return &o, nil
}

// tell says whether an iris of one's own strands repeats itself.
func (s *strandFlags) tell(e *eye.Eye, r *grown.Report, stdout io.Writer) {
	if e.Params.Own == nil {
		return
	}
	q := e.Repetition()
	r.Strands = &grown.Strands{File: s.file, Guide: s.guide, Repeat: q}
	verdict := "no copies show"
	if q.Repeats() {
		verdict = "copies show; give more clusters, or more --strands-vary or --strands-gap"
	}
	fmt.Fprintf(stdout, "strands: relief %.2f like itself %.3g degrees on (bar %.2f); the two sectors most alike %.2f (%.2f by chance): %s\n",
		q.Correlation, q.Lag, q.Bar, q.Twin, q.Chance, verdict)
}

// readClusters reads clusters of curves (the lines of an .obj) or of meshes.
func readClusters(path string) ([][][]eye.Knot, error) {
	var list [][][]eye.Knot
	if strings.EqualFold(filepath.Ext(path), ".obj") {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		if list, err = readLines(path, f); err != nil {
			return nil, err
		}
	}
	if len(list) == 0 {
		unit := ""
		if e := strings.ToLower(filepath.Ext(path)); e != ".glb" && e != ".gltf" {
			unit = "mm" // sizes do not count: clusters are fitted between margin and root
		}
		a, err := meshio.ReadMorphed(path, unit, nil)
		if err != nil {
			return nil, err
		}
		for _, n := range a.Nodes {
			var c [][]eye.Knot
			for _, m := range mesh.Islands(mesh.Weld(n.Mesh, 1e-6*n.Mesh.Bounds().Size().MaxAbs()), 0) {
				s, err := spine(m)
				if err != nil {
					return nil, fmt.Errorf("%s: node %q: %w", path, n.Name, err)
				}
				c = append(c, s)
			}
			list = append(list, c)
		}
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("%s: there are neither lines nor faces in it", path)
	}
	return list, nil
}

// spine is the middle line of a strand's mesh with its half widths, in slices along +Y.
func spine(m *mesh.Mesh) ([]eye.Knot, error) {
	b := m.Bounds()
	size := b.Size()
	if !(size.Y > 0.5*size.X) || !(size.Y > 0.5*size.Z) {
		return nil, fmt.Errorf("a strand %.3g wide, %.3g long along +Y and %.3g deep: strands run from the pupil along +Y, with +Z up", size.X, size.Y, size.Z)
	}
	const slices = 12
	var sum [slices]eye.Knot
	var count [slices]float64
	var lo, hi [slices]float64
	for i := range lo {
		lo[i], hi[i] = math.Inf(1), math.Inf(-1)
	}
	for _, p := range m.P {
		k := min(slices-1, int(slices*(p.Y-b.Lo.Y)/size.Y))
		sum[k].X, sum[k].Y, sum[k].Z, count[k] = sum[k].X+p.X, sum[k].Y+p.Y, sum[k].Z+p.Z, count[k]+1
		lo[k], hi[k] = min(lo[k], p.X), max(hi[k], p.X)
	}
	var out []eye.Knot
	for k, n := range count {
		if n > 0 {
			out = append(out, eye.Knot{X: sum[k].X / n, Y: sum[k].Y / n, Z: sum[k].Z / n, W: max((hi[k]-lo[k])/2, size.Y*0.003)})
		}
	}
	if len(out) < 2 {
		return nil, errors.New("a strand has points in one place alone")
	}
	return out, nil
}

// readLines reads the l elements of an .obj file, a cluster for each object. Source of the form: the Object Files format, lines.
func readLines(path string, in io.Reader) (list [][][]eye.Knot, err error) {
	var at []eye.Knot
	var c [][]eye.Knot
	scan := bufio.NewScanner(io.LimitReader(in, 1<<26))
	scan.Buffer(nil, 1<<20)
	end := func() {
		if len(c) > 0 {
			list = append(list, c)
		}
		c = nil
	}
	for n := 1; scan.Scan(); n++ {
		f := strings.Fields(scan.Text())
		if len(f) == 0 {
			continue
		}
		bad := func(why string) error { return fmt.Errorf("%s:%d: %s", path, n, why) }
		switch f[0] {
		case "o", "g":
			end()
		case "v":
			if len(f) < 4 {
				return nil, bad("a point needs three numbers")
			}
			var v [3]float64
			for k := range v {
				if v[k], err = strconv.ParseFloat(f[k+1], 64); err != nil || math.IsNaN(v[k]) || math.Abs(v[k]) > 1e6 {
					return nil, bad(fmt.Sprintf("%q is no number within a million", f[k+1]))
				}
			}
			at = append(at, eye.Knot{X: v[0], Y: v[1], Z: v[2]})
		case "l":
			var s []eye.Knot
			for _, w := range f[1:] {
				w, _, _ = strings.Cut(w, "/")
				i, err := strconv.Atoi(w)
				if i < 0 {
					i += len(at) + 1
				}
				if err != nil || i < 1 || i > len(at) {
					return nil, bad(fmt.Sprintf("%q names no point; %d are there", w, len(at)))
				}
				s = append(s, at[i-1])
			}
			slices.SortStableFunc(s, func(a, b eye.Knot) int { return cmp.Compare(a.Y, b.Y) })
			if len(s) < 2 || !(s[len(s)-1].Y > s[0].Y) {
				return nil, bad("a strand needs two points along +Y")
			}
			long := s[len(s)-1].Y - s[0].Y
			for i := range s {
				s[i].W = 0.008 * long // lines have no width: a strand of 0.02 mm on an iris of 2.5
			}
			c = append(c, s)
		}
	}
	end()
	return list, scan.Err()
}
