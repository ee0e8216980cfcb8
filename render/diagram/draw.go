package diagram

import (
	"context"
	"fmt"
	"math"
	"slices"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// Kind is what a drawing shows.
type Kind string

// The kinds.
const (
	Wire      Kind = "wire"      // edges of triangles
	Texels    Kind = "uv"        // squares of texture coordinates, and texels per mm as tones
	Height    Kind = "height"    // height over the iris' plane, and distance from the globe's centre
	Normal    Kind = "normal"    // shading normals in the camera's frame, with normal maps
	Roughness Kind = "roughness" // of the tear film
	Zones     Kind = "masks"     // pupil, iris, limbus, sclera, all else
	Albedo    Kind = "albedo"    // diffuse reflectance through the cornea
)

// Kinds lists them all.
var Kinds = []Kind{Wire, Texels, Height, Normal, Roughness, Zones, Albedo}

// Drawing is a drawn picture.
type Drawing struct {
	W, H  int
	Pix   []colour.RGB // linear, multiplied by coverage
	Alpha []float64    // coverage in [0, 1]
	Words string       // what the tones mean, with numbers and units
}

// perSide is how many rays a pixel has along a side.
const perSide = 3

// artist draws one kind.
type artist struct {
	s     *frozen.Scene
	kind  Kind
	frame geom.Frame
	split float64   // left of it the outer shell shows, right of it the inner one; pixels
	side  []float64 // texels along a side of the maps, by eye
	span  []ranges  // by eye
}

// ranges are what the tones of heights run over, in mm.
type ranges struct{ irisLow, irisHigh, outerLow, outerHigh, outerMid float64 }

// Draw draws a scene that d describes. It is the same whatever the workers.
func Draw(ctx context.Context, s *frozen.Scene, d *scene.Description, kind Kind, workers int) (*Drawing, error) {
	if !slices.Contains(Kinds, kind) {
		return nil, fmt.Errorf("diagram %q: known are %q", kind, Kinds)
	}
	w, h := d.Picture.Width, d.Picture.Height
	a := &artist{s: s, kind: kind, frame: s.Camera.Frame(), split: float64(w) / 2}
	a.centre(w)
	a.measure(d, w, h)
	out := &Drawing{W: w, H: h, Pix: make([]colour.RGB, w*h), Alpha: make([]float64, w*h)}
	parallel.With(h, workers, accel.NewScratch, func(sc *accel.Scratch, y int) {
		if ctx.Err() != nil {
			return
		}
		for x := range w {
			var sum colour.RGB
			n := 0
			for k := range perSide * perSide {
				px := float64(x) + (float64(k%perSide)+0.5)/perSide
				py := float64(y) + (float64(k/perSide)+0.5)/perSide
				if c, ok := a.tone(sc, px, py); ok {
					sum, n = sum.Add(c), n+1
				}
			}
			out.Pix[y*w+x] = sum.Scale(1.0 / (perSide * perSide))
			out.Alpha[y*w+x] = float64(n) / (perSide * perSide)
		}
	})
	out.Words = a.words()
	return out, ctx.Err()
}

// centre splits at the middle of the first eye's globe, where the picture shows it.
func (a *artist) centre(w int) {
	if len(a.s.Eyes) == 0 {
		return
	}
	e := &a.s.Eyes[0]
	x, _, _, ok := a.s.Camera.Project(a.s.Objects[e.Outer].ToWorld.Point(geom.Vec{}))
	if ok && x > 0 && x < float64(w) {
		a.split = x
	}
}

// shell finds what a ray along the camera's own straight line shows: the outer shell left of the split, right of it the inner one
// as if the outer were not there.
func (a *artist) shell(sc *accel.Scratch, px, py float64) (frozen.Surface, bool) {
	o, d, _ := a.s.Camera.Ray(px, py, 0.5, 0.5)
	r := geom.Ray{O: o, D: d}
	var h frozen.Hit
	if !a.s.Intersect(sc, r, 0, math.Inf(1), frozen.CameraRays, false, &h) || h.Object < 0 {
		return frozen.Surface{}, false
	}
	b := &a.s.Objects[h.Object]
	if px < a.split || b.Eye < 0 || b.Material.Kind != frozen.Outer {
		return a.s.Surface(r, &h), true
	}
	e := &a.s.Eyes[b.Eye]
	if !a.s.Objects[e.Inner].Closest(sc, r, 0, math.Inf(1), &h) {
		return frozen.Surface{}, false
	}
	h.Object, h.Light = e.Inner, -1
	return a.s.Surface(r, &h), true
}

// tone is the linear colour at a film position; false where the picture shows nothing.
func (a *artist) tone(sc *accel.Scratch, px, py float64) (colour.RGB, bool) {
	switch a.kind {
	case Zones, Albedo, Roughness:
		s := a.s.Seen(sc, px, py)
		if len(s) == 0 {
			return colour.RGB{}, false
		}
		switch a.kind {
		case Zones:
			return a.zone(s), true
		case Albedo:
			return a.albedo(s), true
		}
		return a.roughness(&s[0]), true
	}
	sf, ok := a.shell(sc, px, py)
	if !ok {
		return colour.RGB{}, false
	}
	switch a.kind {
	case Wire:
		return a.wire(&sf, px, py), true
	case Texels:
		return a.texels(&sf), true
	case Height:
		return a.height(&sf), true
	}
	return a.normal(&sf), true
}

// clay is the plain tone of a surface lit from the camera.
func (a *artist) clay(sf *frozen.Surface) float64 {
	return 0.06 + 0.4*max(0, a.frame.Local(sf.Ns).Z)
}

// eyeOf returns the eye that a surface belongs to, nil for others.
func (a *artist) eyeOf(sf *frozen.Surface) (*frozen.Eye, int) {
	b := &a.s.Objects[sf.Object]
	if b.Eye < 0 {
		return nil, -1
	}
	return &a.s.Eyes[b.Eye], int(b.Eye)
}
