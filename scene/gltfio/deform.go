package gltfio

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"catchlight/scene/geom"

	"github.com/qmuntal/gltf"
)

// Weights sets morph targets by name, or by number from 0 where no target has that name, in all meshes that have them.
// Targets that it does not name keep the file's weights at rest.
type Weights map[string]float64

// targetNames returns the names of a mesh's morph targets, n of them, "" where a target has none. The standard leaves
// names to the mesh's extras (glTF 2.0, section 3.7.2.2, implementation note).
func targetNames(m *gltf.Mesh, n int) []string {
	names := make([]string, n)
	extras, _ := m.Extras.(map[string]any)
	list, _ := extras["targetNames"].([]any)
	for i := range min(n, len(list)) {
		names[i], _ = list[i].(string)
	}
	return names
}

// weights returns how much of each morph target node i shows, nil where its mesh has none: what was asked for, else
// the node's weight at rest, else the mesh's.
func (r *reader) weights(i int) ([]float64, error) {
	n := r.doc.Nodes[i]
	m := r.doc.Meshes[*n.Mesh]
	targets := 0
	for k, p := range m.Primitives {
		if k > 0 && len(p.Targets) != targets {
			return nil, fmt.Errorf("meshes[%d].primitives[%d] has %d morph targets, the first has %d", *n.Mesh, k, len(p.Targets), targets)
		}
		targets = len(p.Targets)
	}
	rest := n.Weights
	if len(rest) == 0 {
		rest = m.Weights
	}
	if len(rest) > 0 && len(rest) != targets {
		return nil, fmt.Errorf("%d weights for %d morph targets", len(rest), targets)
	}
	w := make([]float64, targets)
	copy(w, rest)
	for k, name := range targetNames(m, targets) {
		r.targets = append(r.targets, target{name, k})
		v, ok := r.asked[name]
		if !ok || name == "" {
			v, ok = r.asked[strconv.Itoa(k)]
		}
		if ok {
			w[k] = v
		}
		if math.IsNaN(w[k]) || math.IsInf(w[k], 0) {
			return nil, fmt.Errorf("the weight of morph target %d is %v", k, w[k])
		}
	}
	return w, nil
}

// target is a morph target of the scene.
type target struct {
	name  string
	index int
}

// checkAsked reports the weights that were asked for and that no mesh of the scene has a target for.
func (r *reader) checkAsked() error {
	var missing, known []string
	for name := range r.asked {
		if !slices.ContainsFunc(r.targets, func(t target) bool { return name != "" && name == t.name || name == strconv.Itoa(t.index) }) {
			missing = append(missing, strconv.Quote(name))
		}
	}
	if len(missing) == 0 {
		return nil
	}
	for _, t := range r.targets {
		q := strconv.Itoa(t.index)
		if t.name != "" {
			q = strconv.Quote(t.name)
		}
		if !slices.Contains(known, q) && len(known) < 24 {
			known = append(known, q)
		}
	}
	slices.Sort(missing)
	if len(known) == 0 {
		return r.bad("no morph target %s; the file has none", strings.Join(missing, ", "))
	}
	return r.bad("no morph target %s; there are %s", strings.Join(missing, ", "), strings.Join(known, ", "))
}

// morph adds w[k] of each target k's displacements to an attribute's values.
func (r *reader) morph(p *gltf.Primitive, attribute string, w []float64, values []float32) error {
	for k, t := range p.Targets {
		at, ok := t[attribute]
		if !ok || w[k] == 0 {
			continue
		}
		d, err := r.floats(at, gltf.AccessorVec3)
		if err == nil && len(d) != len(values) {
			err = fmt.Errorf("%d values for %d vertices", len(d)/3, len(values)/3)
		}
		if err != nil {
			return fmt.Errorf("morph target %d: %s: %w", k, attribute, err)
		}
		for i, v := range d {
			values[i] += float32(w[k]) * v
		}
	}
	return nil
}

// joints returns the matrices of a skin, from the space of the mesh at bind time to ours.
func (r *reader) joints(i int) ([]geom.Affine, error) {
	if i < 0 || i >= len(r.doc.Skins) || r.doc.Skins[i] == nil {
		return nil, fmt.Errorf("skin %d, there are %d", i, len(r.doc.Skins))
	}
	s := r.doc.Skins[i]
	if len(s.Joints) == 0 || len(s.Joints) > MaxNodes {
		return nil, fmt.Errorf("skins[%d]: %d joints, must be 1 to %d", i, len(s.Joints), MaxNodes)
	}
	var inverse []float32
	if s.InverseBindMatrices != nil {
		var err error
		if inverse, err = r.floats(*s.InverseBindMatrices, gltf.AccessorMat4); err == nil && len(inverse) < 16*len(s.Joints) {
			err = fmt.Errorf("%d matrices for %d joints", len(inverse)/16, len(s.Joints))
		}
		if err != nil {
			return nil, fmt.Errorf("skins[%d].inverseBindMatrices: %w", i, err)
		}
	}
	out := make([]geom.Affine, len(s.Joints))
	for k, j := range s.Joints {
		if j < 0 || j >= len(r.parent) {
			return nil, fmt.Errorf("skins[%d]: joint %d is node %d, there are %d", i, k, j, len(r.parent))
		}
		if r.parent[j] == unvisited {
			return nil, fmt.Errorf("skins[%d]: joint %d (%s) is not in the scene", i, k, r.nodeName(j))
		}
		out[k] = r.world[j]
		if inverse == nil {
			continue
		}
		var m [16]float64
		for e := range m {
			m[e] = float64(inverse[16*k+e])
		}
		a, err := affine(m)
		if err != nil {
			return nil, fmt.Errorf("skins[%d].inverseBindMatrices: matrix %d: %w", i, k, err)
		}
		out[k] = a.Then(out[k])
	}
	return out, nil
}

// maxInfluenceSets is how many sets of four joints a vertex are read.
const maxInfluenceSets = 2

// skin returns for each vertex the mean of its joints' matrices by its weights, which are brought to a sum of 1.
//
// Source: glTF 2.0, section 3.7.3.
func (r *reader) skin(p *gltf.Primitive, name string, joints []geom.Affine, count int) ([]geom.Affine, error) {
	out := make([]geom.Affine, count)
	sum := make([]float64, count)
	set := 0
	for ; ; set++ {
		ja, jw := fmt.Sprintf("JOINTS_%d", set), fmt.Sprintf("WEIGHTS_%d", set)
		at, ok := p.Attributes[ja]
		aw, okw := p.Attributes[jw]
		if !ok && !okw {
			break
		}
		if set == maxInfluenceSets {
			r.note("%s: more than %d joints a vertex; the others are left out", name, 4*maxInfluenceSets)
			break
		}
		if ok != okw {
			return nil, fmt.Errorf("%s and %s must come together", ja, jw)
		}
		j, err := r.floats(at, gltf.AccessorVec4)
		if err == nil && len(j) != 4*count {
			err = fmt.Errorf("%d values for %d vertices", len(j)/4, count)
		}
		if a := r.doc.Accessors[max(0, min(at, len(r.doc.Accessors)-1))]; err == nil && (a.Normalized || a.ComponentType != gltf.ComponentUbyte && a.ComponentType != gltf.ComponentUshort) {
			err = fmt.Errorf("must be UNSIGNED_BYTE or UNSIGNED_SHORT, not normalised")
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", ja, err)
		}
		w, err := r.floats(aw, gltf.AccessorVec4)
		if err == nil && len(w) != 4*count {
			err = fmt.Errorf("%d values for %d vertices", len(w)/4, count)
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", jw, err)
		}
		for e, x := range w {
			x := float64(x)
			if !(x >= 0 && x <= 1e6) {
				return nil, fmt.Errorf("%s: vertex %d has the weight %v, must be 0 to 1", jw, e/4, x)
			}
			if x == 0 {
				continue
			}
			if int(j[e]) >= len(joints) {
				return nil, fmt.Errorf("%s: vertex %d uses joint %v of %d", ja, e/4, j[e], len(joints))
			}
			a, b := &out[e/4], &joints[int(j[e])]
			for row := range a.M {
				a.M[row] = a.M[row].Mad(x, b.M[row])
			}
			a.T = a.T.Mad(x, b.T)
			sum[e/4] += x
		}
	}
	if set == 0 {
		return nil, fmt.Errorf("the node has a skin, but there is no JOINTS_0")
	}
	for v, s := range sum {
		if s == 0 {
			return nil, fmt.Errorf("vertex %d is bound to no joint: all of its weights are 0", v)
		}
		for row := range out[v].M {
			out[v].M[row] = out[v].M[row].Mul(1 / s)
		}
		out[v].T = out[v].T.Mul(1 / s)
	}
	return out, nil
}
