package gltfio

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/geom"

	"github.com/qmuntal/gltf"
)

// millimetres turns the standard's metres into ours.
const millimetres = 1000

// scene walks the default scene and fills r.asset.
func (r *reader) scene() error {
	d := r.doc
	if len(d.Nodes) > MaxNodes {
		return r.bad("%d nodes, at most %d are read", len(d.Nodes), MaxNodes)
	}
	var roots []int
	switch {
	case d.Scene != nil && (*d.Scene < 0 || *d.Scene >= len(d.Scenes)):
		return r.bad("scene %d, there are %d", *d.Scene, len(d.Scenes))
	case d.Scene != nil:
		roots = d.Scenes[*d.Scene].Nodes
	case len(d.Scenes) > 0:
		r.note("no default scene is named; the first of %d is taken", len(d.Scenes))
		roots = d.Scenes[0].Nodes
	default: // allowed: a library of parts; all that no other node holds is shown
		child := make([]bool, len(d.Nodes))
		for _, n := range d.Nodes {
			for _, c := range n.Children {
				if c >= 0 && c < len(child) {
					child[c] = true
				}
			}
		}
		for i, c := range child {
			if !c {
				roots = append(roots, i)
			}
		}
		r.note("the file has no scene; all of its nodes are shown")
	}
	if len(d.Animations) > 0 {
		r.note("%d animations are not read; the nodes are at rest", len(d.Animations))
	}
	r.parent, r.world = make([]int, len(d.Nodes)), make([]geom.Affine, len(d.Nodes))
	for i := range r.parent {
		r.parent[i] = unvisited
	}
	for _, n := range roots {
		if err := r.node(n, root, geom.Scale(millimetres), 0); err != nil {
			return err
		}
	}
	if err := r.countAll(); err != nil {
		return err
	}
	var all []error // a mistake in one mesh does not hide those in others
	for _, i := range r.order {
		if d.Nodes[i].Mesh != nil && len(all) < MaxProblems {
			if err := r.mesh(i); err != nil {
				all = append(all, err)
			}
		}
	}
	if err := errors.Join(append(all, r.checkAsked())...); err != nil {
		return err
	}
	if len(r.asset.Nodes) == 0 {
		why := ""
		for _, n := range r.asset.Notes {
			if strings.Contains(n, asset.ScaledToNothing) {
				why += "; " + n
			}
		}
		return r.bad("the scene shows no triangles%s", why)
	}
	for _, t := range r.targets {
		if t.name != "" && !slices.Contains(r.asset.Targets, t.name) {
			r.asset.Targets = append(r.asset.Targets, t.name)
		}
	}
	r.noteSize()
	return nil
}

const (
	unvisited = -2
	root      = -1
)

// nodeName returns how messages and the asset call node i.
func (r *reader) nodeName(i int) string {
	if s := r.doc.Nodes[i].Name; s != "" {
		return s
	}
	return fmt.Sprintf("node %d", i)
}

// node finds the place of node i and of all below it. The nodes must form trees.
func (r *reader) node(i, from int, above geom.Affine, depth int) error {
	parent := r.parent
	if i < 0 || i >= len(parent) {
		return r.bad("%s refers to node %d, there are %d", holder(from), i, len(parent))
	}
	if parent[i] != unvisited {
		for k := from; k != root; k = parent[k] {
			if k == i {
				return r.bad("nodes[%d] (%s) is its own ancestor: the tree of nodes has a cycle", i, r.nodeName(i))
			}
		}
		return r.bad("nodes[%d] (%s) hangs from %s and from %s; nodes must form trees", i, r.nodeName(i), holder(parent[i]), holder(from))
	}
	parent[i] = from
	if depth >= MaxDepth {
		return r.bad("nodes[%d] (%s): the tree is deeper than %d", i, r.nodeName(i), MaxDepth)
	}
	n := r.doc.Nodes[i]
	local, err := transform(n)
	if err != nil {
		return r.bad("nodes[%d] (%s): %v", i, r.nodeName(i), err)
	}
	r.world[i] = local.Then(above)
	r.order = append(r.order, i)
	for _, c := range n.Children {
		if err := r.node(c, i, r.world[i], depth+1); err != nil {
			return err
		}
	}
	return nil
}

func holder(i int) string {
	if i == root {
		return "the scene"
	}
	return fmt.Sprintf("nodes[%d]", i)
}

// transform returns the map from a node to its parent: a matrix, or scale, then rotation, then translation.
func transform(n *gltf.Node) (geom.Affine, error) {
	m := n.MatrixOrDefault() // by columns
	if m != gltf.DefaultMatrix {
		return affine(m)
	}
	q := n.Rotation
	l := math.Sqrt(q[0]*q[0] + q[1]*q[1] + q[2]*q[2] + q[3]*q[3])
	if !(l > 0.5 && l < 2) {
		return geom.Affine{}, fmt.Errorf("the rotation %v has the length %g, must be of length 1", q, l)
	}
	x, y, z, w := q[0]/l, q[1]/l, q[2]/l, q[3]/l
	s, t := n.Scale, n.Translation
	// Source of the matrix of a unit quaternion: Shoemake, Animating Rotation with Quaternion Curves, SIGGRAPH 1985.
	return geom.Affine{M: [3]geom.Vec{
		{X: s[0] * (1 - 2*(y*y+z*z)), Y: s[1] * 2 * (x*y - w*z), Z: s[2] * 2 * (x*z + w*y)},
		{X: s[0] * 2 * (x*y + w*z), Y: s[1] * (1 - 2*(x*x+z*z)), Z: s[2] * 2 * (y*z - w*x)},
		{X: s[0] * 2 * (x*z - w*y), Y: s[1] * 2 * (y*z + w*x), Z: s[2] * (1 - 2*(x*x+y*y))},
	}, T: geom.Vec{X: t[0], Y: t[1], Z: t[2]}}, nil
}

// affine turns a matrix by columns into a map; its last row must be 0 0 0 1.
func affine(m [16]float64) (geom.Affine, error) {
	if m[3] != 0 || m[7] != 0 || m[11] != 0 || m[15] != 1 {
		return geom.Affine{}, fmt.Errorf("the last row of the matrix is %v, must be 0 0 0 1", [4]float64{m[3], m[7], m[11], m[15]})
	}
	return geom.Affine{M: [3]geom.Vec{{X: m[0], Y: m[4], Z: m[8]}, {X: m[1], Y: m[5], Z: m[9]}, {X: m[2], Y: m[6], Z: m[10]}},
		T: geom.Vec{X: m[12], Y: m[13], Z: m[14]}}, nil
}

// noteSize warns where the asset is so large or small that its unit must be in doubt.
func (r *reader) noteSize() {
	b := geom.EmptyBox()
	for _, n := range r.asset.Nodes {
		b = b.Union(n.Mesh.Bounds())
	}
	if s := b.Size().MaxAbs(); s > 2000 {
		r.note("the asset is %.4g mm across; the format's unit is the metre: are these millimetres or centimetres stored as metres?", s)
	} else if s < 0.5 {
		r.note("the asset is %.4g mm across; the format's unit is the metre: is the scale right?", s)
	}
}
