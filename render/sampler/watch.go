//go:build invariants

package sampler

// Watch makes the sampler tell f of each set that is drawn; a test sees so that none is drawn twice. nil ends it.
func (s *Sampler) Watch(f func(vertex int, p Purpose, salt uint32)) { s.watch = f }
