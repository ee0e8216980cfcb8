package bake

import (
	"fmt"
	"math"

	"catchlight/render/accel"
	"catchlight/scene/atlas"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Kind is what a map holds.
type Kind string

// The maps that are baked from rays. Cover is made with all others: the share of a texel's samples that met the high mesh, -1 where a
// texel lies on the low mesh and all its rays met nothing; and the share whose first surface faced away.
const (
	Cover       Kind = "cover"
	Normal      Kind = "normal"
	Height      Kind = "height"
	Curvature   Kind = "curvature"
	Position    Kind = "position"
	Ambient     Kind = "occlusion"
	Thick       Kind = "thickness"
	IDs         Kind = "ids"
	Masks       Kind = "masks" // a share of each id
	Colour      Kind = "colour"
	mostMasks        = 64
	purposeAO        = 1
	purposeIn        = 2
	purposeSoft      = 3
)

// Bake is what is cast on what.
type Bake struct {
	Low     *Base
	High    *Solid
	Blocker *Solid // what darkens a place; nil: High
	Nearest bool   // take the surface nearest to the low one, not the first
	Occlusion
	Thickness
	Seed uint64

	ID   IDSource
	Soft float64 // mm: standard deviation of the places that a mask's share is taken over; 0: the texel's own samples

	points [][2]uint32
	ids    *identities
	softly [][2]float64
}

// Channels returns how many numbers a texel of a kind has; of masks as many as there are ids.
func (b *Bake) Channels(k Kind) int {
	switch k {
	case Normal, Position, Colour:
		return 3
	case Cover, Thick: // of the second: the way, and the share of rays that met nothing
		return 2
	case Masks:
		return len(b.ids.names)
	}
	return 1
}

// Names are those of the ids, from 1.
func (b *Bake) Names() []string { return b.ids.names }

// Prepare checks the settings and makes ready what the kinds need.
func (b *Bake) Prepare(kinds []Kind) error {
	if b.Blocker == nil {
		b.Blocker = b.High
	}
	b.points = sobol(max(b.Occlusion.Rays, b.Thickness.Rays, 1))
	for i, p := range sobol(softRays) {
		r := b.Soft * math.Sqrt(-2*math.Log(unit(p[0])))
		sin, cos := math.Sincos(2 * math.Pi * unit(p[1]))
		b.softly = append(b.softly[:i], [2]float64{r * cos, r * sin})
	}
	var err error
	for _, k := range kinds {
		switch k {
		case Curvature:
			b.High.Curved()
		case IDs, Masks:
			if b.ids == nil {
				b.ids, err = b.High.identify(b.ID)
			}
		case Ambient:
			if b.Occlusion.Rays < 1 {
				err = fmt.Errorf("%d rays of occlusion a texel, must be 1 or more", b.Occlusion.Rays)
			}
		case Thick:
			if b.Thickness.Rays < 1 || !(b.Angle > 0 && b.Angle <= math.Pi/2) || !(b.Thickness.Reach > 0) {
				err = fmt.Errorf("thickness: %d rays in a cone of %g radians up to %g mm", b.Thickness.Rays, b.Angle, b.Thickness.Reach)
			}
		case Cover, Normal, Height, Position, Colour:
		default:
			err = fmt.Errorf("no map is called %q", k)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// softRays is how many places around a texel a soft mask looks at.
const softRays = 64

// Brush is a worker's own: make one for each.
type Brush struct {
	scratch accel.Scratch
	block   atlas.Block
	spots   []Spot
	places  []atlas.Place
	Out     [][]float32 // by kind, of the last block and overwritten by the next: channel after channel, atlas.Side squared each
	Count   Count       // of the last block
	share   []float64
	ids     []uint16
}

// Count says what a block's rays met.
type Count struct {
	Samples int // on the low mesh
	Missed  int // that met nothing
	Back    int // whose first surface faced away
	Twice   int // that a second triangle of the low mesh covers
	Both    [2]uint32
	At      geom.UV
}

// Add adds up counts; places are those of the first.
func (c *Count) Add(d Count) {
	if c.Twice == 0 {
		c.Both, c.At = d.Both, d.At
	}
	c.Samples, c.Missed, c.Back, c.Twice = c.Samples+d.Samples, c.Missed+d.Missed, c.Back+d.Back, c.Twice+d.Twice
}

// Block makes the maps of some kinds for one block of a sheet of the low mesh into brush.Out. It reports whether any texel is covered.
func (b *Bake) Block(s *atlas.Sheet, block int, kinds []Kind, k *Brush) bool {
	k.Count = Count{}
	s.Draw(block, &k.block)
	k.Count.Twice, k.Count.Both, k.Count.At = k.block.Twice, k.block.Both, k.block.At
	const n = atlas.Side * atlas.Side
	for i, kind := range kinds {
		want := n * b.Channels(kind)
		if len(k.Out) <= i {
			k.Out = append(k.Out, nil)
		}
		if cap(k.Out[i]) < want {
			k.Out[i] = make([]float32, want)
		}
		k.Out[i] = k.Out[i][:want]
		clear(k.Out[i])
	}
	some := false
	for y := k.block.Y0; y < k.block.Y1; y++ {
		for x := k.block.X0; x < k.block.X1; x++ {
			some = b.texel(kinds, k, x, y) || some
		}
	}
	return some
}

// texel casts a texel's rays and fills it in.
func (b *Bake) texel(kinds []Kind, k *Brush, x, y int) bool {
	k.spots, k.places = k.spots[:0], k.places[:0]
	all, backs := 0, 0
	for _, p := range k.block.Texel(x, y) {
		if p.Tri == atlas.None {
			continue
		}
		all++
		_, o, d, at := b.Low.ray(p.Tri, p.U, p.V)
		var q Spot
		var ok, back bool
		if b.Nearest {
			q, ok, back = b.High.nearest(&k.scratch, o, d, at, at+b.Low.Depth)
		} else {
			q, ok, back = b.High.meet(&k.scratch, o, d, at+b.Low.Depth)
		}
		if back {
			backs++
		}
		if !ok {
			k.Count.Missed++
			continue
		}
		q.T = at - q.T
		k.spots, k.places = append(k.spots, q), append(k.places, p)
	}
	k.Count.Samples, k.Count.Back = k.Count.Samples+all, k.Count.Back+backs
	if all == 0 {
		return false
	}
	at := (y-k.block.Y0)*atlas.Side + x - k.block.X0
	for i, kind := range kinds {
		b.fill(kind, k, k.Out[i], at, x, y)
		if kind == Cover {
			k.Out[i][atlas.Side*atlas.Side+at] = float32(backs) / float32(k.block.N*k.block.N)
		}
	}
	return true
}

// fill makes one texel of one map.
func (b *Bake) fill(kind Kind, k *Brush, out []float32, at, x, y int) {
	const n = atlas.Side * atlas.Side
	if kind == Cover {
		if out[at] = float32(len(k.spots)) / float32(k.block.N*k.block.N); len(k.spots) == 0 {
			out[at] = -1
		}
		return
	}
	if len(k.spots) == 0 {
		return
	}
	inv := 1 / float64(len(k.spots))
	put := func(c int, v float64) { out[c*n+at] = float32(v) }
	switch kind {
	case Normal:
		var sum geom.Vec
		for i := range k.spots {
			p := &k.places[i]
			e, _ := b.Low.encode(p.Tri, p.U, p.V, k.spots[i].N)
			sum = sum.Add(e)
		}
		if sum = sum.Unit(); !sum.Finite() {
			sum = geom.Vec{Z: 1}
		}
		put(0, sum.X)
		put(1, sum.Y)
		put(2, sum.Z)
	case Height:
		sum := 0.0
		for i := range k.spots {
			sum += k.spots[i].T
		}
		put(0, sum*inv)
	case Curvature:
		sum := 0.0
		for i := range k.spots {
			sum += b.High.curvature(&k.spots[i])
		}
		put(0, sum*inv)
	case Position:
		var sum geom.Vec
		for i := range k.spots {
			sum = sum.Add(k.spots[i].P)
		}
		put(0, sum.X*inv)
		put(1, sum.Y*inv)
		put(2, sum.Z*inv)
	case Colour:
		var sum colour.RGB
		for i := range k.spots {
			sum = sum.Add(b.High.albedo(&k.spots[i]))
		}
		for c := range 3 {
			put(c, sum[c]*inv)
		}
	case Ambient:
		put(0, b.ambient(k, x, y))
	case Thick:
		way, lost := b.thick(k, x, y)
		put(0, way)
		put(1, lost)
	case IDs:
		put(0, float64(b.majority(k)))
	case Masks:
		b.shares(k, x, y)
		for c, v := range k.share {
			put(c, v)
		}
	}
}

// ambient is the share of rays that get out, over a texel's samples.
func (b *Bake) ambient(k *Brush, x, y int) float64 {
	far := b.Occlusion.Reach
	if far == 0 {
		far = math.Inf(1)
	}
	eps := start * b.High.bvh.Bounds().Size().Len()
	u, v := shift(b.Seed, x, y, purposeAO)
	var t tally
	for i := range k.spots {
		r := b.points[b.Occlusion.Rays*i/len(k.spots) : b.Occlusion.Rays*(i+1)/len(k.spots)]
		q := b.Blocker.free(&k.scratch, &k.spots[i], r, u, v, eps, far)
		t.sum, t.n = t.sum+q.sum, t.n+q.n
	}
	if t.n == 0 {
		return 1
	}
	return t.sum / t.n
}

// thick is the mean way to the other side, over a texel's samples, and the share of rays that met nothing.
func (b *Bake) thick(k *Brush, x, y int) (way, none float64) {
	eps := start * b.High.bvh.Bounds().Size().Len()
	sin2 := math.Sin(b.Angle) * math.Sin(b.Angle)
	u, v := shift(b.Seed, x, y, purposeIn)
	var t tally
	gone := 0.0
	for i := range k.spots {
		r := b.points[b.Thickness.Rays*i/len(k.spots) : b.Thickness.Rays*(i+1)/len(k.spots)]
		q, lost := b.High.through(&k.scratch, &k.spots[i], r, u, v, eps, sin2, b.Thickness.Reach)
		t.sum, t.n = t.sum+q.sum, t.n+q.n
		gone += lost
	}
	if t.n == 0 {
		return 0, 1
	}
	return t.sum / t.n, gone / t.n
}
