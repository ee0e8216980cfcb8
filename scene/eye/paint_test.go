package eye

import (
	"encoding/json"
	"math"
	"sync"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// plainForm is a small eye without its paint, and what it keeps of the layers that tests ask for.
var plainForm = sync.OnceValue(func() *Eye {
	p := small()
	p.MapSize = 256
	e, err := Form(p)
	if err != nil {
		panic(err)
	}
	return e
})

var keptLayers sync.Map

// paintedBy is a small eye with a list of layers.
func paintedBy(t testing.TB, change func(p *Params)) *Eye {
	e := plainForm()
	p := e.Params
	p.Paint = DefaultPaint()
	change(&p)
	q, err := e.Painted(p, func(name string, inputs any, make func() any) any {
		id, err := json.Marshal([]any{name, inputs})
		if err != nil {
			t.Fatal(err)
		}
		v, _ := keptLayers.LoadOrStore(string(id), sync.OnceValue(make))
		return v.(func() any)()
	})
	if err != nil {
		t.Fatal(err)
	}
	return q
}

// without switches one layer off.
func without(p *Params, name string) {
	p.layer(name).On = false
}

// Every layer of the default list changes the eye, on its own part of it, and off it changes nothing: two lists that differ
// in one that is off paint the same.
func TestEveryLayerActs(t *testing.T) {
	aged := func(p *Params) { p.Arcus, p.Cloud = 0.5, 0.3 }
	whole := paintedBy(t, aged)
	for _, l := range DefaultPaint() {
		e := paintedBy(t, func(p *Params) {
			aged(p)
			without(p, l.Name)
		})
		n, _, _ := e.Colour.Size()
		var all, iris, white float64
		for y := range n {
			for x := range n {
				d := 0.0
				for k := range 3 {
					d += math.Abs(e.Colour.At(x, y, k)-whole.Colour.At(x, y, k)) + math.Abs(e.Vessels.At(x, y, k)-whole.Vessels.At(x, y, k))
				}
				r := math.Hypot(float64(x)-127.5, float64(y)-127.5) / 256
				all += d
				if r < 0.78*e.chart.share*e.IrisRadius/e.Params.LimbusRadius { // clear of the limbus
					iris += d
				} else if r > 1.3*e.chart.share {
					white += d
				}
			}
		}
		other := iris
		if l.OfIris() {
			other = white
		}
		own := all - other
		if own == 0 || other > 0.001*own {
			t.Errorf("%s: changes the iris by %g, the white by %g", l.Name, iris, white)
		}
	}
}

// The order of the list counts: a colour laid over the white hides what comes before it, not what comes after.
func TestOrderOfLayers(t *testing.T) {
	green := colour.RGB{0.2, 0.6, 0.2}
	cover := Bare("cover", "mottle")
	cover.Blend, cover.Colour, cover.Size, cover.Amount = "over", green, 20, 8
	ground := Bare("grey", "limbal-grey")
	ground.Colour = colour.Grey(0.2)
	at := geom.Vec{X: 8.5, Z: math.Sqrt(144 - 8.5*8.5)}
	see := func(ls ...Layer) colour.RGB {
		e := paintedBy(t, func(p *Params) { p.Paint = ls })
		return look(e, e.Colour, at)
	}
	first, last := see(ground, cover), see(cover, ground)
	if first == last {
		t.Errorf("the same colour %v in either order", first)
	}
}

// A mask leaves a layer where it is, inverted where it is not; the two together are the layer without one.
func TestLayerMasks(t *testing.T) {
	see := func(change func(l *Layer)) *Eye {
		return paintedBy(t, func(p *Params) {
			mark, where := Bare("mark", "redness"), Bare("where", "fat")
			mark.Blend, mark.Colour, where.Amount = "add", colour.Grey(0.05), 0
			change(&mark)
			p.Paint = []Layer{mark, where}
		})
	}
	bare := see(func(l *Layer) { l.On = false })
	all, within, outside := see(func(*Layer) {}), see(func(l *Layer) { l.Mask = "where" }), see(func(l *Layer) { l.Mask, l.Invert = "where", true })
	n, _, _ := all.Colour.Size()
	least, most := math.Inf(1), 0.0
	for y := range n {
		for x := range n {
			b := bare.Colour.At(x, y, 0)
			a, in, out := all.Colour.At(x, y, 0)-b, within.Colour.At(x, y, 0)-b, outside.Colour.At(x, y, 0)-b
			if math.Abs(in+out-a) > 1e-5 {
				t.Fatalf("texel %d %d: %g within and %g outside of %g", x, y, in, out, a)
			}
			if a > 0.01 {
				least, most = min(least, in/a), max(most, in/a)
			}
		}
	}
	if least > 0.05 || most < 0.3 {
		t.Errorf("the mask lets %.2f to %.2f pass", least, most)
	}
}
