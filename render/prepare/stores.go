package prepare

import (
	"sync"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/lids"
	"catchlight/scene/mesh"
	"catchlight/scene/raw"
	"catchlight/scene/texture"
)

// shellStore keeps the shells of a built eye that no map raises; nil for all others, which hold what has no written form. What
// only paint needs of its growth is grown again when paint asks for it.
func shellStore(d *scene.Eye) *store[*eyeball] {
	if d.Asset != nil || d.Cornea.Height != nil || d.Iris.Height != nil {
		return nil
	}
	return &store[*eyeball]{
		write: func(w *raw.Writer, s *eyeball) {
			mesh.Write(w, s.outer)
			mesh.Write(w, s.inner)
			s.outerBVH.Write(w)
			s.innerBVH.Write(w)
			raw.Slice(w, s.depth)
			raw.Slice(w, s.cross)
			raw.Value(w, s.far)
		},
		read: func(r *raw.Reader) *eyeball {
			par, err := d.Params()
			if err != nil {
				return nil
			}
			laid, err := eye.Lay(par)
			if err != nil {
				return nil
			}
			s := &eyeball{outer: mesh.Read(r), inner: mesh.Read(r)}
			if s.outer == nil || s.inner == nil {
				return nil
			}
			s.outerBVH, s.innerBVH = accel.Read(r, s.outer.P, s.outer.Tri), accel.Read(r, s.inner.P, s.inner.Tri)
			s.depth = raw.ReadSlice[float32](r)
			s.cross, s.far = raw.ReadSlice[float64](r), raw.ReadValue[float64](r)
			s.front = builtFront(laid, par.GlobeRadius)
			s.grow = sync.OnceValues(func() (*eye.Eye, error) { return eye.Form(par) })
			return s
		},
	}
}

// coatStoreOf returns the store of an eye's maps over the tissue: none of an imported one, whose file may read others, nor with sets of
// tiles, to which one may be added.
func coatStoreOf(d *scene.Eye) *store[*coat] {
	if d.Asset != nil {
		return nil
	}
	for _, file := range []scene.Path{d.Iris.Colour.File, d.Sclera.Colour.File} {
		if tiles, err := scene.TileFiles(file); err != nil || len(tiles) > 0 {
			return nil
		}
	}
	return coatStore
}

// coatStore keeps the maps over the tissue.
var coatStore = &store[*coat]{
	write: func(w *raw.Writer, c *coat) {
		for _, m := range []*frozen.VolumeMap{c.colour, c.alpha, c.vessels} {
			frozen.WriteVolume(w, m)
		}
		raw.Slice(w, []colour.RGB{c.meanIris, c.meanWhite})
	},
	read: func(r *raw.Reader) *coat {
		c := &coat{colour: frozen.ReadVolume(r), alpha: frozen.ReadVolume(r), vessels: frozen.ReadVolume(r)}
		if m := raw.ReadSlice[colour.RGB](r); len(m) == 2 {
			c.meanIris, c.meanWhite = m[0], m[1]
		}
		return c
	},
}

// maxHair is more than lids have kinds of hair.
const maxHair = 16

// lidStore keeps lids with their hierarchies; not about an imported eye, whose file may read others.
func lidStore(par lids.Params, d *scene.Eye) *store[*grown] {
	if d.Asset != nil {
		return nil
	}
	return &store[*grown]{
		write: func(w *raw.Writer, g *grown) {
			for _, q := range []struct {
				m *mesh.Mesh
				h *accel.BVH
			}{{g.Skin, g.skin}, {g.Corner, g.corner}, {g.Tears, g.tears}} {
				if mesh.Write(w, q.m); q.m != nil {
					q.h.Write(w)
				}
			}
			raw.Value(w, len(g.kinds))
			for _, q := range g.kinds {
				raw.Slice(w, []byte(q.name))
				raw.Value(w, q.hairs)
			}
			if g.hair != nil {
				g.hair.Write(w)
			}
			raw.Slice(w, g.skinDepth)
			raw.Slice(w, g.cornerDepth)
			for _, im := range []*texture.Image{g.Stain, g.Tone, g.Relief.Tilt, g.Relief.Square, g.Relief.Sheen, g.Pink} {
				texture.Write(w, im)
			}
			raw.Value(w, len(g.Rims))
			for _, rim := range g.Rims {
				raw.Slice(w, rim)
			}
		},
		read: func(r *raw.Reader) *grown {
			g := &grown{Lids: &lids.Lids{Params: par}}
			for _, q := range []struct {
				m **mesh.Mesh
				h **accel.BVH
			}{{&g.Skin, &g.skin}, {&g.Corner, &g.corner}, {&g.Tears, &g.tears}} {
				if *q.m = mesh.Read(r); *q.m != nil {
					*q.h = accel.Read(r, (*q.m).P, (*q.m).Tri)
				}
			}
			hairs := 0
			for range min(maxHair, raw.ReadValue[int](r)) {
				g.kinds = append(g.kinds, kind{string(raw.ReadSlice[byte](r)), raw.ReadValue[int](r)})
				hairs += g.kinds[len(g.kinds)-1].hairs
			}
			if hairs > 0 {
				if g.hair = accel.ReadCurves(r); g.hair == nil || g.hair.Hairs() != hairs {
					return nil
				}
			}
			g.skinDepth, g.cornerDepth = raw.ReadSlice[float32](r), raw.ReadSlice[float32](r)
			for _, im := range []**texture.Image{&g.Stain, &g.Tone, &g.Relief.Tilt, &g.Relief.Square, &g.Relief.Sheen, &g.Pink} {
				*im = texture.Read(r)
			}
			for range min(2, raw.ReadValue[int](r)) {
				g.Rims = append(g.Rims, raw.ReadSlice[geom.Vec](r))
			}
			return g
		},
	}
}
