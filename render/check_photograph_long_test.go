package render

import (
	"bufio"
	"context"
	"fmt"
	"image"
	"maps"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/render/film"
	"catchlight/scene"
)

// Pictures of the shipped scenes against what photographs of eyes show. Each measure says where it must lie and where that comes
// from; files beside this one add theirs with measurePhotographs, each in a file of its own.

// photograph is a shipped scene, rendered small, with what its pixels show.
type photograph struct {
	scene   string // file name without folder and ending
	p       *Prepared
	r       *Result
	linear  film.Picture // raw light
	shown   *image.NRGBA // as seen
	regions *Regions
}

// photoMeasure is one thing that is measured in pictures.
type photoMeasure struct {
	what   string
	scenes []string // file names without folder and ending
	lo, hi float64  // where it must lie; an infinite one is no bound
	source string   // of the range
	// of returns the value; ok is false where there is nothing to measure in this picture.
	of func(t *testing.T, s *photograph) (v float64, ok bool)
}

var photoMeasures []photoMeasure

// photoRemains says of a measure, or of one scene in it ("MEASURE, SCENE"), why a value outside its range is let pass for now; the table
// says it too.
var photoRemains = map[string]string{}

// measurePhotographs adds measures to the long check; it is called from init functions of test files.
func measurePhotographs(m ...photoMeasure) { photoMeasures = append(photoMeasures, m...) }

// photoSide and photoSamples say how large and how well the pictures are rendered: enough for all measures to settle within a
// few hundredths.
const (
	photoSide    = 240
	photoSamples = 20
)

// photographed renders a shipped scene for the check.
func photographed(t *testing.T, name string) *photograph {
	t.Helper()
	d, err := scene.Load(filepath.Join("..", "scenes", name+".yaml"))
	require.NoError(t, err)
	w, h := photoSide, photoSide*d.Picture.Height/d.Picture.Width
	d, err = d.With(fmt.Sprintf("picture.width=%d", w), fmt.Sprintf("picture.height=%d", h), fmt.Sprintf("picture.samples=%d", photoSamples))
	require.NoError(t, err)
	p, err := Prepare(context.Background(), d, Options{Cache: built})
	require.NoError(t, err)
	s := &photograph{scene: name, p: p, r: finish(t, p)}
	s.linear, s.regions = s.r.Film.Develop(), p.Regions(Options{})
	s.shown, err = s.r.Shown()
	require.NoError(t, err)
	return s
}

// code returns the luma of a pixel as seen, in [0, 255].
//
// Source of the weights: ITU-R BT.709.
func (s *photograph) code(i int) float64 {
	p := s.shown.Pix[4*i : 4*i+3]
	return 0.2126*float64(p[0]) + 0.7152*float64(p[1]) + 0.0722*float64(p[2])
}

// inZone returns the pixels of a zone whose neighbours within reach pixels are all of that zone too.
func (s *photograph) inZone(z Zone, reach int) (out []int) {
	w, h := s.regions.Width, s.regions.Height
	for i, q := range s.regions.Zone {
		x, y := i%w, i/w
		if q != z || x < reach || y < reach || x >= w-reach || y >= h-reach {
			continue
		}
		if s.alike(i, z, reach) {
			out = append(out, i)
		}
	}
	return out
}

// alike reports whether the square of the given reach about pixel i lies in zone z.
func (s *photograph) alike(i int, z Zone, reach int) bool {
	w := s.regions.Width
	for y := -reach; y <= reach; y++ {
		for x := -reach; x <= reach; x++ {
			if s.regions.Zone[i+y*w+x] != z {
				return false
			}
		}
	}
	return true
}

// quantile returns the q-quantile of values; NaN of none.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Sorted(slices.Values(v))
	return v[min(int(q*float64(len(v))), len(v)-1)]
}

// valuesBefore reads what the same measures said of the scenes as they were on 29 November 2026, before they were lit anew.
func valuesBefore(t *testing.T) map[[2]string]float64 {
	out := map[[2]string]float64{}
	f, err := os.Open(filepath.Join("..", "testdata", "photograph", "before.tsv"))
	require.NoError(t, err)
	defer f.Close()
	for sc := bufio.NewScanner(f); sc.Scan(); {
		c := strings.Split(sc.Text(), "\t")
		require.Len(t, c, 3, sc.Text())
		v, err := strconv.ParseFloat(c[2], 64)
		require.NoError(t, err)
		out[[2]string{c[0], c[1]}] = v
	}
	return out
}

// photoTable holds the rows of a dated table by measure and scene.
type photoTable map[[2]string]string

// photoFile is the table of today.
func photoFile() string {
	return filepath.Join("..", "testdata", "photograph", "photograph-"+time.Now().Format("2006-01-02")+".md")
}

// readPhotoTable returns the rows that the table of today has already; none where there is no table.
func readPhotoTable(t *testing.T) photoTable {
	rows := photoTable{}
	b, err := os.ReadFile(photoFile())
	if os.IsNotExist(err) {
		return rows
	}
	require.NoError(t, err)
	for _, line := range strings.Split(string(b), "\n") {
		c := strings.Split(line, " | ")
		if len(c) == 6 {
			rows[[2]string{strings.TrimPrefix(c[0], "| "), c[1]}] = line
		}
	}
	return rows
}

// with returns the table with all rows of a scene taken from another one.
func (rows photoTable) with(scene string, fresh photoTable) photoTable {
	for k := range rows {
		if k[1] == scene {
			delete(rows, k)
		}
	}
	maps.Copy(rows, fresh)
	return rows
}

// write puts the rows into the table of today, in the order of the measures and of the scenes' names.
func (rows photoTable) write(t *testing.T) {
	table := fmt.Sprintf("Measured %s, %s, %d processors, machine shared, scene by scene, by\n`%s=1 go test ./render -run TestPhotographLong -timeout 60m`\n\n"+
		"Shipped scenes at %d pixels across and %d samples. \"Before\" is what the same code said, at 320 pixels and 48 samples, of the scenes of 29 November\n2026 before they were lit anew.\n\n"+
		"| measure | scene | before | now | must be | source |\n| --- | --- | --- | --- | --- | --- |\n",
		time.Now().Format("2 January 2006"), runtime.Version(), runtime.NumCPU(), longVariable, photoSide, photoSamples)
	for _, m := range photoMeasures {
		for _, s := range slices.Sorted(slices.Values(m.scenes)) {
			if line, ok := rows[[2]string{m.what, s}]; ok {
				table += line + "\n"
			}
		}
	}
	writeFile(t, photoFile(), table)
}

// The shipped scenes against photographs, one table, written anew after each scene. With CATCHLIGHT_PHOTOGRAPH=NAME,NAME it measures these
// scenes alone, and the other rows of today's table stay; with CATCHLIGHT_PHOTOGRAPH_BEFORE=1 it appends what it measures to before.tsv and
// judges nothing.
func TestPhotographLong(t *testing.T) {
	if os.Getenv(longVariable) == "" {
		t.Skipf("takes minutes; %s=1 runs it and writes testdata/photograph/photograph-DATE.md", longVariable)
	}
	only := strings.FieldsFunc(os.Getenv("CATCHLIGHT_PHOTOGRAPH"), func(r rune) bool { return r == ',' })
	learn := os.Getenv("CATCHLIGHT_PHOTOGRAPH_BEFORE") != ""
	before := valuesBefore(t)
	var scenes []string
	for _, m := range photoMeasures {
		for _, s := range m.scenes {
			if !slices.Contains(scenes, s) && (len(only) == 0 || slices.Contains(only, s)) {
				scenes = append(scenes, s)
			}
		}
	}
	slices.Sort(scenes)
	var learned strings.Builder
	for _, name := range scenes {
		s := photographed(t, name)
		rows := photoTable{}
		for _, m := range photoMeasures {
			if !slices.Contains(m.scenes, name) {
				continue
			}
			v, ok := m.of(t, s)
			if !ok {
				continue
			}
			then := "-"
			if b, ok := before[[2]string{m.what, name}]; ok {
				then = fmt.Sprintf("%.3g", b)
			} else if learn {
				fmt.Fprintf(&learned, "%s\t%s\t%.4g\n", m.what, name, v)
			}
			outside, where := photoRemains[m.what+", "+name], between(m.lo, m.hi)
			if outside == "" {
				outside = photoRemains[m.what]
			}
			switch {
			case v >= m.lo && v <= m.hi:
			case outside == "":
				where += ", missed"
			default:
				where += ", remains: " + outside
			}
			if !learn && outside == "" {
				assert.True(t, v >= m.lo && v <= m.hi, "%s: %s: %.4g is not in %s", name, m.what, v, between(m.lo, m.hi))
			}
			rows[[2]string{m.what, name}] = fmt.Sprintf("| %s | %s | %s | %.3g | %s | %s |", m.what, name, then, v, where, m.source)
			t.Logf("%-60s %-28s %8s %8.3g  %s", m.what, name, then, v, where)
		}
		if !learn {
			readPhotoTable(t).with(name, rows).write(t)
		}
	}
	if learn {
		f, err := os.OpenFile(filepath.Join("..", "testdata", "photograph", "before.tsv"), os.O_APPEND|os.O_WRONLY, 0)
		require.NoError(t, err)
		_, err = f.WriteString(learned.String())
		require.NoError(t, err)
		require.NoError(t, f.Close())
	}
}

// between writes a range.
func between(lo, hi float64) string {
	switch {
	case math.IsInf(hi, 1):
		return fmt.Sprintf(">= %g", lo)
	case math.IsInf(lo, -1):
		return fmt.Sprintf("<= %g", hi)
	}
	return fmt.Sprintf("%g to %g", lo, hi)
}
