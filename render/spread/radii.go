package spread

import (
	"cmp"
	"math"
	"slices"

	"catchlight/render/frozen"
	"catchlight/render/pathtrace"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// Exit is one walk that came out again.
type Exit struct {
	R float64    // distance from where it went in
	W colour.RGB // what it carries
}

// groups is how many independent parts a measure is made of; their scatter gives its error.
const groups = 8

// Value is a measured number with its standard error.
type Value struct {
	V  float64 `json:"value"`
	SE float64 `json:"standard_error"`
}

// Radius returns the radius that holds a share of what the exits carry in a channel, in (0, 1). Exits are sorted by it. It is
// NaN where nothing came out.
func Radius(exits []Exit, channel int, share float64) float64 {
	slices.SortFunc(exits, func(a, b Exit) int { return cmp.Compare(a.R, b.R) })
	all := 0.0
	for i := range exits {
		all += exits[i].W[channel]
	}
	if !(all > 0) {
		return math.NaN()
	}
	sum := 0.0
	for i := range exits {
		if sum += exits[i].W[channel]; sum >= share*all {
			return exits[i].R
		}
	}
	return exits[len(exits)-1].R
}

// pooled returns what f says of all groups together, with the error that their scatter gives (the jackknife over groups;
// Efron, The Jackknife, the Bootstrap and Other Resampling Plans, 1982, chapter 3).
func pooled[T any](parts [][]T, f func([]T) float64) Value {
	var all []T
	for _, p := range parts {
		all = append(all, p...)
	}
	n := float64(len(parts))
	var left []float64
	mean := 0.0
	for i := range parts {
		var rest []T
		for k, p := range parts {
			if k != i {
				rest = append(rest, p...)
			}
		}
		left = append(left, f(rest))
		mean += left[i] / n
	}
	sum := 0.0
	for _, v := range left {
		sum += (v - mean) * (v - mean)
	}
	return Value{f(all), math.Sqrt((n - 1) / n * sum)}
}

// Radii are those of one part of an eye, by channel.
type Radii struct {
	Half  [3]Value `json:"r50_mm"` // hold 50 % of what comes back out
	Most  [3]Value `json:"r90_mm"` // hold 90 %
	Share [3]Value `json:"share"`  // of the light that went in
	Walks int      `json:"walks"`
}

// Pool makes the radii of exits that came in groups; walks is how many went in, in all.
func Pool(parts [][]Exit, walks int) (r Radii) {
	r.Walks = walks
	for c := range 3 {
		r.Half[c] = pooled(parts, func(e []Exit) float64 { return Radius(e, c, 0.5) })
		r.Most[c] = pooled(parts, func(e []Exit) float64 { return Radius(e, c, 0.9) })
		var sums [][]float64
		for _, p := range parts {
			s := 0.0
			for i := range p {
				s += p[i].W[c]
			}
			sums = append(sums, []float64{s * groups / float64(walks)})
		}
		r.Share[c] = pooled(sums, func(s []float64) float64 {
			t := 0.0
			for _, v := range s {
				t += v
			}
			return t / float64(len(s))
		})
	}
	return r
}

// Seen is the eye that is measured.
type Seen struct {
	Scene   *frozen.Scene
	Eye     int
	Workers int
	Seed    uint64
}

// tracers makes one path tracer for each goroutine.
func (s *Seen) tracers() *pathtrace.Tracer { return pathtrace.New(s.Scene, s.Seed) }

// Radii measures the radii about several directions from the globe's centre at once (unit vectors of the eye's frame): walks of
// them in all, shared out evenly. It is false where none of the directions meets tissue.
func (s *Seen) Radii(dirs []geom.Vec, walks int) (Radii, bool) {
	per := max(1, walks/groups)
	parts := make([][]Exit, groups)
	parallel.With(groups, s.Workers, s.tracers, func(t *pathtrace.Tracer, g int) {
		for i := range per {
			sf, ok := t.Site(s.Eye, dirs[i%len(dirs)])
			if !ok {
				continue
			}
			if exit, w, ok := t.Spread(&sf, uint64(g), uint32(i)); ok {
				parts[g] = append(parts[g], Exit{exit.P.Sub(sf.P).Len(), w})
			}
		}
	})
	for _, p := range parts {
		if len(p) == 0 {
			return Radii{}, false
		}
	}
	return Pool(parts, per*groups), true
}

// Times returns the same eye with light that spreads so many times as far in all of its tissue.
func (s *Seen) Times(k float64) *Seen {
	out, scene := *s, *s.Scene
	scene.Eyes = slices.Clone(s.Scene.Eyes)
	t := &scene.Eyes[s.Eye].Tissue
	t.SigmaIris, t.SigmaSclera = t.SigmaIris.Scale(1/k), t.SigmaSclera.Scale(1/k)
	out.Scene = &scene
	return &out
}
