package live

import (
	"encoding/json"
	"math"
	"slices"

	"catchlight/scene"
	"catchlight/scene/colour"
)

// change says how much of the work for one description serves another one.
type change uint8

const (
	same  change = iota // the same light: all of it, at most shown another way
	lit                 // the same but for gains on lights: all of it
	moved               // the same eyes, maps and lids: what was prepared of them
	grown               // eyes differ
)

// mostGain is the gain up to which a light's kept samples serve: its noise grows by as much. A light that is to be brighter is
// sampled anew.
const mostGain = 4

// lamp reports whether what a light adds follows its gain: a flag shines on nothing.
func lamp(l *scene.Light) bool { return l.Kind != "flag" }

// gainOf is what a light's own strength is multiplied by.
func gainOf(d *scene.Description, l *scene.Light) colour.RGB {
	if !l.On {
		return colour.RGB{}
	}
	return l.Tint.Scale(math.Exp2(l.EV + d.LightSetup.EV))
}

// baked is the description with gains on its lights.
func baked(d *scene.Description, gains []Light) *scene.Description {
	q := *d
	q.Lights = slices.Clone(d.Lights)
	for _, g := range gains {
		for i := range q.Lights {
			if l := &q.Lights[i]; l.Name == g.Name && lamp(l) {
				l.Tint = l.Tint.Mul(g.Gain)
			}
		}
	}
	return &q
}

// unlit is a description without what view and gains of lights change.
func unlit(d *scene.Description) *scene.Description {
	q := *d
	q.About, q.LightSetup.About, q.LightSetup.Shows = "", "", ""
	q.Raster = scene.Raster{}
	q.View = scene.View{}
	if d.View.Background == "environment" {
		q.View.Background = d.View.Background
	}
	if q.LightSetup.Balance != "none" && q.LightSetup.Balance != "" {
		return &q // each light's strength changes that of all
	}
	q.LightSetup.EV = 0
	q.Lights = slices.Clone(d.Lights)
	for i := range q.Lights {
		if l := &q.Lights[i]; lamp(l) {
			l.EV, l.Tint, l.On = 0, colour.Grey(1), true
		}
	}
	return &q
}

// text is a description's content, to compare it.
func text(v any) string {
	data, err := json.Marshal(v)
	if err != nil {
		return "" // never equal; see alike
	}
	return string(data)
}

func alike(a, b any) bool {
	s := text(a)
	return s != "" && s == text(b)
}

// compare says what has to be made anew for now where old is there, and for lit the gains of the lights that change.
func compare(old, now *scene.Description) (change, map[string]colour.RGB) {
	if alike(unlit(old), unlit(now)) {
		if gains, ok := ratios(old, now); ok {
			if len(gains) == 0 {
				return same, nil
			}
			return lit, gains
		}
		return moved, nil
	}
	if alike(eyesOf(old, true), eyesOf(now, true)) {
		return moved, nil
	}
	return grown, nil
}

// ratios returns the gains that make the lights of one description those of another; ok is false where a light was dark.
func ratios(old, now *scene.Description) (map[string]colour.RGB, bool) {
	gains := map[string]colour.RGB{}
	for i := range old.Lights {
		a, b := &old.Lights[i], &now.Lights[i]
		if !lamp(a) {
			continue
		}
		was, is := gainOf(old, a), gainOf(now, b)
		g := colour.Grey(1)
		for c := range g {
			if was[c] == is[c] {
				continue
			}
			if !(was[c] > 0) {
				return nil, false
			}
			g[c] = is[c] / was[c]
		}
		if g != colour.Grey(1) {
			gains[a.Name] = g
		}
	}
	return gains, true
}

// noisy reports whether gains make the grain of a light show too much.
func noisy(gains map[string]colour.RGB) bool {
	for _, g := range gains {
		if max(g[0], g[1], g[2]) > mostGain {
			return true
		}
	}
	return false
}

// part is what of an object its shells, maps and lids are made from.
type part struct {
	Eye              *scene.Eye
	Lids             *scene.Lids
	Gaze             *scene.Gaze
	Pair             float64
	Shown            bool
	Name             string
	Mask             *scene.OpacityMask
	File             scene.Path
	Node             string
	Morph            []scene.Morph
	Close            bool
	Subdivide        int
	Material         scene.Material
	LidSwitch        string
	TearFilm, Shadow bool
}

// eyesOf is the part of a description that shells, tissue and lids are made from; without turns that is as it would be if no
// eye had turned in its lids.
func eyesOf(d *scene.Description, turns bool) (out []part) {
	for i := range d.Objects {
		b := &d.Objects[i]
		p := part{b.Eye, b.Lids, nil, b.Pair, d.Shown(b), b.Name, b.OpacityMask, b.File, b.Node, b.Morph, b.Close, b.Subdivide, b.Material, d.Lids, d.Effects.TearFilm, d.Effects.Shadow}
		if turns && b.Eye != nil && d.LidsOf(b) != nil {
			p.Gaze = b.Gaze // lids follow it
		}
		out = append(out, p)
	}
	return out
}
