package main

import (
	"fmt"
	"path/filepath"
	"slices"

	"catchlight/scene"
	"catchlight/scene/eye"
	"catchlight/scene/gltfio"
	"catchlight/scene/grown"
)

// headFile is the file of an eye or a pair in its lids.
const headFile = "head.glb"

// canHead says why an eye can't be written in its lids, where that is asked for.
func (g *growing) canHead(d *scene.Description, b *scene.Object) error {
	if !slices.Contains(list(g.meshes), "head") {
		return nil
	}
	switch l := d.LidsOf(b); {
	case l == nil:
		return usageError{fmt.Errorf("--meshes head: %s has no lids; write lids: {} into its object", b.Name)}
	case l.Scale != 1:
		return usageError{fmt.Errorf("--meshes head: the lids of %s are scaled by %g; only lids of scale 1 can be written", b.Name, l.Scale)}
	}
	return nil
}

// writeHead writes the eye, or the pair, in its lids as one file, where that is asked for: for trying what takes a head, and as a
// start for a face.
func (g *growing) writeHead(d *scene.Description, b *scene.Object, e *eye.Eye, r *grown.Report) error {
	if !slices.Contains(list(g.meshes), "head") {
		return nil
	}
	l := d.LidsOf(b)
	par := l.Params(b.Eye)
	par.Spacing = b.Pair
	parts, err := g.parts(e, e.Inner, b.Eye, r)
	if err != nil {
		return err
	}
	look := [2]gltfio.Look{parts[0].Look, parts[1].Look}
	eyes, sides, looks := []*eye.Eye{e}, []string{b.Eye.Side}, [][2]gltfio.Look{look}
	if b.Pair > 0 {
		other := *b.Eye
		other.Side = "left"
		other.Seed++
		p, err := other.Params()
		if err != nil {
			return err
		}
		p.Own = e.Params.Own
		left, err := eye.Form(p)
		if err != nil {
			return err
		}
		eyes, sides, looks = append(eyes, left), []string{"right", "left"}, append(looks, look)
	}
	h, err := grown.GrowHead(par, eyes, sides, looks)
	if err != nil {
		return err
	}
	all, err := h.Parts()
	if err != nil {
		return err
	}
	if err := gltfio.Write(filepath.Join(g.out, headFile), all); err != nil {
		return err
	}
	r.Meshes = append(r.Meshes, grown.Mesh{File: headFile})
	return nil
}
