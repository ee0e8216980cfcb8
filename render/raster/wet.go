package raster

import (
	"catchlight/render/frozen"
	"catchlight/render/raster/cover"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// Tears in the raster look: sheets without thickness that mirror, drawn over what they lie on. What they cover loses the gloss of its own.

// laySheets finds which clear surfaces the samples show, and how much of each pixel tears cover.
func (k *frame) laySheets() {
	if len(k.clear) == 0 {
		return
	}
	k.sheets = cover.NewPass(k.view)
	tears := false
	for i := range k.clear {
		s := &k.clear[i]
		s.addTo(k.sheets, int32(i), s.side, k.workers)
		tears = tears || k.isTears(i)
	}
	n := k.buf.Samples
	k.over = k.sheets.Draw(n, k.workers)
	if !tears {
		return
	}
	k.wet = make([]float32, k.width*k.height)
	parallel.Each(k.height, k.workers, func(y int) {
		for i := y * k.width; i < (y+1)*k.width; i++ {
			wet, all := 0, 0
			for s := i * n; s < (i+1)*n; s++ {
				if k.buf.ID[s] != cover.None {
					all++
					if k.tearsAt(s) {
						wet++
					}
				}
			}
			if wet > 0 {
				k.wet[i] = float32(wet) / float32(all)
			}
		}
	})
}

func (k *Look) isTears(clear int) bool {
	return k.scene.Objects[k.clear[clear].object].Material.Kind == frozen.TearLine
}

// tearsAt reports whether a sample shows tears that lie on something.
func (k *frame) tearsAt(s int) bool {
	return k.over.ID[s] != cover.None && k.over.Depth[s] > k.buf.Depth[s] && k.buf.ID[s] != cover.None && k.isTears(int(k.sheets.Object(k.over.ID[s])))
}

// tears lays what tears mirror over a pixel, sample by sample: their glint is often thinner than a pixel.
func (k *frame) tears(x, y int) {
	n := k.buf.Samples
	i := y*k.width + x
	var sum, lost colour.RGB
	for s := range n {
		if !k.tearsAt(i*n + s) {
			continue
		}
		ox, oy := cover.Offset(n, s)
		f := k.fragment(k.sheets, k.clear, k.over.ID[i*n+s], float64(x)+ox, float64(y)+oy)
		f.bend /= float64(n)
		m := &k.scene.Objects[f.sf.Object].Material
		ng, ns := f.facing()
		ns = turn(f.wo, ng, ns)
		response := k.metal[f.sf.Object].At(f.wo.Dot(ns))
		sum = sum.Add(k.sheen(&f, ns, m.Alpha).Mul(response))
		lost = lost.Add(response)
	}
	share := 1 / float64(n)
	for c := range sum {
		pass := 1 - lost[c]*share
		k.out.Mean[i][c] = pass*k.out.Mean[i][c] + sum[c]*share
		k.skin.a[i][c] *= float32(pass)
	}
}

// sheen returns what tears mirror, before their response: lids and lashes about them hold back surroundings by how open the place is, and
// lamps by less, since these stand high.
func (k *frame) sheen(f *fragment, n geom.Vec, alpha float64) colour.RGB {
	alpha = widen(alpha, f.bend)
	r := geom.Reflect(f.wo, n)
	lit, share := k.glints(k.lamps, f, n, r, alpha)
	return k.mirrored(r, alpha).Scale((1 - share) * f.open).Add(lit.Scale(min(1, 2*f.open)))
}
