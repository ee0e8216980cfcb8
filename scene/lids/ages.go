package lids

// aged is what years do to the sizes of the lids, in order of age.
//
// Sources: height and width of grown people 9.7 and 27.1 mm: Read, Mosimann and others 2006; of children 8.0 mm, and 24 mm
// wide at two years, 27 at fourteen; from 35 to 85 years the opening gets 2.5 mm narrower, the lower rim sinks 0.5 (women)
// to 1 mm (men), and the outer corner comes 1.5 mm nearer to the cornea's front: van den Bosch and others 1999 (all from
// memory). Bags and grooves: common practice, no published source.
var aged = []struct {
	age    float64
	outer  float64 // corner, from the middle of the eye, as a share of the globe's radius
	inner  float64
	height float64 // of the opening, mm
	bag    float64 // how far the lower lid's fat bulges, mm
	trough float64 // depth of the groove from the inner corner down over the cheek, mm
	brow   float64 // how far the brow's bone stands before the cornea's front, mm
	hollow float64 // depth of the upper lid's hollow beneath the brow, mm
}{
	{0, 0.865, 1.19, 8, 0.15, 0.2, 2, 0.1},
	{0.4, 0.93, 1.3, 9.7, 0.35, 0.6, 5, 0.5},
	{1, 0.87, 1.25, 10.4, 1.5, 1.5, 6, 1.6},
}

// ageing is one row of the table, or between two.
type ageing struct{ outer, inner, height, bag, trough, brow, hollow float64 }

// atAge returns the sizes at an age of 0 (a child of four), 0.4 (a grown person of thirty) to 1 (eighty years).
func atAge(age float64) ageing {
	k := 0
	for k < len(aged)-2 && age > aged[k+1].age {
		k++
	}
	a, b := &aged[k], &aged[k+1]
	f := (age - a.age) / (b.age - a.age)
	m := func(x, y float64) float64 { return x + f*(y-x) }
	return ageing{m(a.outer, b.outer), m(a.inner, b.inner), m(a.height, b.height), m(a.bag, b.bag), m(a.trough, b.trough), m(a.brow, b.brow), m(a.hollow, b.hollow)}
}

// corners returns how far the corners lie from the middle of the eye about a globe of radius r, mm.
func (p *Params) corners(r float64) (outer, inner float64) {
	a := atAge(p.Age)
	outer, inner = p.Outer, p.Inner
	if outer == 0 {
		outer = a.outer * r
	}
	if inner == 0 {
		inner = a.inner * r
	}
	return
}

// height returns the height of the opening, mm.
func (p *Params) height() float64 {
	if p.Height == 0 {
		return atAge(p.Age).height
	}
	return p.Height
}
