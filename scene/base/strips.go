package base

import (
	"math"
	"slices"

	"catchlight/scene/geom"
	"catchlight/scene/lids"
)

// The strips, mm: height of the tears' meniscus over the lower lid and how much of it the upper one has, how far the occlusion strip
// reaches under the lids and out over the eye, and how far it floats above the outer shell. Sources: 0.3 mm, as the lids of a scene;
// the others are our own, by eye.
const (
	tearHeight = 0.3
	tearUpper  = 0.45
	shadeUnder = 1.0
	shadeOut   = 2.2
	shadeAbove = 0.03
)

// station is a place of the lids' edge on the outer shell: up out of the eye, in along it toward the opening.
type station struct {
	at, up, in geom.Vec
	room       float64 // to the middle between the lids
}

// strips makes what lies along the edges of both lids, once round from the inner corner over the upper lid: the edge of the program's
// own lids on this eye. The strips close upon themselves; u runs once round.
func (k *maker) strips() (tear, shade *Mesh, err error) {
	globe, limbus, _, _, _, _, _, _ := k.s.Lengths()
	p := lids.Defaults()
	size := globe / 12
	p.Height, p.Cover, p.Iris = 10*size, p.Cover*size, limbus
	p.UpperLash, p.LowerLash, p.Detail = 0, 0, 0.5 // the edge alone counts
	p.BrowDensity, p.DownDensity, p.Lines, p.Pores = 0, 0, 0, 0
	made, err := lids.Build(p, []lids.Socket{{Axis: geom.Vec{Z: 1}, Far: func(d geom.Vec) float64 { return k.s.Far(math.Acos(max(-1, min(1, d.Z)))) }}})
	if err != nil {
		return nil, nil, err
	}
	n := max(16, 2*sides>>k.level)
	line := even(made.Rims[0], n)
	far := func(p geom.Vec) float64 {
		d := p.Unit()
		return k.s.Far(math.Acos(max(-1, min(1, d.Z))))
	}
	list := make([]station, n)
	for i, p := range line {
		up := p.Unit()
		along := line[(i+1)%n].Sub(line[(i+n-1)%n])
		list[i] = station{at: up.Mul(far(p)), up: up, in: up.Cross(along).Unit(), room: 0.4 * across(line, i)}
	}
	if toward := line[n/4].Sub(line[3*n/4]); list[n/4].in.Dot(toward) > 0 { // toward the other lid
		for i := range list {
			list[i].in = list[i].in.Neg()
		}
	}
	upper := func(i int) float64 { // 1 over the middle of the upper lid
		return geom.Smoothstep(-0.4, 0.4, math.Sin(2*math.Pi*float64(i)/float64(n)))
	}
	tear = lay("tear_strip", list, max(2, k.intervals(4)), func(q station, i int, f float64) geom.Vec {
		h := min(tearHeight*size*(1-(1-tearUpper)*upper(i)), 0.1+0.5*q.room)
		sin, cos := math.Sincos(f * math.Pi / 2)
		// Hollow to the front, half-way from a quarter circle to its chord, from the eye, h inside the lid's edge, up to h above the eye.
		d, a := h*(1-(sin+f)/2), h*(1-cos+f)/2
		p := q.at.Mad(d, q.in)
		return p.Unit().Mul(far(p) + a + 0.005)
	})
	// The inner edge is evened out along the strip, so that it does not fold in the corners.
	edge := make([]geom.Vec, n)
	for i, q := range list {
		edge[i] = q.at.Mad(min(shadeOut*size, q.room), q.in)
	}
	for range n / 8 {
		was := slices.Clone(edge)
		for i := range edge {
			edge[i] = was[(i+n-1)%n].Add(was[(i+1)%n]).Mul(0.25).Mad(0.5, was[i])
		}
	}
	shade = lay("occlusion_strip", list, max(2, k.intervals(4)), func(q station, i int, f float64) geom.Vec {
		p := geom.Lerp(q.at.Mad(-shadeUnder*size, q.in), edge[i], f)
		return p.Unit().Mul(far(p) + shadeAbove)
	})
	return tear, shade, nil
}

// lay makes a closed strip of some rows; f runs from 0 to 1 across it.
func lay(name string, list []station, rows int, at func(q station, i int, f float64) geom.Vec) *Mesh {
	n := len(list)
	m := &Mesh{Name: name}
	for j := range rows + 1 {
		f := float64(j) / float64(rows)
		for i := range n + 1 {
			if i < n {
				m.P = append(m.P, rounded(at(list[i], i, f)))
			}
			m.UV = append(m.UV, geom.UV{U: float64(i) / float64(n), V: f})
		}
	}
	for j := range rows {
		for i := range n {
			c := func(i, j int) Corner { return Corner{uint32(j*n + i%n), uint32(j*(n+1) + i)} }
			m.Quads = append(m.Quads, [4]Corner{c(i, j), c(i, j+1), c(i+1, j+1), c(i+1, j)})
		}
	}
	m.normals()
	if m.N[0].Dot(m.P[0]) < 0 {
		for i, q := range m.Quads {
			m.Quads[i] = [4]Corner{q[0], q[3], q[2], q[1]}
		}
		m.normals()
	}
	return m
}

// across is the distance of a place of the lids' edge from the other lid: the first half of the line is the upper one.
func across(line []geom.Vec, i int) float64 {
	n, d := len(line), math.Inf(1)
	for j := range n / 2 {
		if i < n/2 {
			j += n / 2
		}
		d = min(d, line[i].Sub(line[j]).Len())
	}
	return d
}

// even returns n points along a closed line, evenly by its length, from the first point on.
func even(line []geom.Vec, n int) []geom.Vec {
	cum := make([]float64, len(line)+1)
	for i := range line {
		cum[i+1] = cum[i] + line[(i+1)%len(line)].Sub(line[i]).Len()
	}
	out := make([]geom.Vec, n)
	i := 0
	for k := range out {
		d := cum[len(line)] * float64(k) / float64(n)
		for cum[i+1] < d {
			i++
		}
		t := (d - cum[i]) / max(1e-12, cum[i+1]-cum[i])
		out[k] = geom.Lerp(line[i], line[(i+1)%len(line)], t)
	}
	return out
}
