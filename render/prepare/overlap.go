package prepare

import "catchlight/render/frozen"

// order says which objects take precedence where flesh overlaps: eyes over all flesh, and of flesh what comes first. Whose
// boxes lie apart can't overlap, and what scattered rays don't meet is not there for light in flesh.
func order(objects []frozen.Object) {
	flesh := func(b *frozen.Object) bool {
		return b.Material.Kind == frozen.Soft && b.Closed
	}
	for i := range objects {
		b := &objects[i]
		if !flesh(b) {
			continue
		}
		for k := range objects {
			q := &objects[k]
			if k == i || q.Mask&frozen.ShadowRays == 0 || !b.Bounds.Meets(q.Bounds) {
				continue
			}
			switch {
			case q.Material.Kind == frozen.Outer && !b.Apart, flesh(q) && k < i:
				b.Before = append(b.Before, int32(k))
			case flesh(q):
				b.Behind = append(b.Behind, int32(k))
			}
		}
	}
}
