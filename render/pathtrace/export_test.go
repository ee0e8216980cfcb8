//go:build invariants

package pathtrace

import "catchlight/render/sampler"

// Watch tells f of each set of random numbers that the tracer draws.
func (t *Tracer) Watch(f func(vertex int, p sampler.Purpose, salt uint32)) { t.smp.Watch(f) }
