package prepare

import (
	"reflect"
	"time"

	"catchlight/render/memory"
)

// Maker makes what is derived from a prepared scene, such as the maps of the raster look, in stages that a cache keeps with those of
// Prepare and within the same bytes.
type Maker struct {
	Cache *Cache // nil keeps nothing
	log   stages
}

// Stages returns what was made and taken so far.
func (m *Maker) Stages() []Stage { return m.log.list }

// Sized is a result that says itself how many bytes are its own, where it points to what others hold.
type Sized interface{ Bytes() int64 }

// Derived returns what make makes of the inputs, from the cache where it holds what was made of equal ones: equal for reflect.DeepEqual,
// so at a glance for pictures and meshes that are the same in memory. slot names the stage and what it belongs to.
func Derived[I, V any](m *Maker, slot string, inputs I, make func() (V, error)) (V, error) {
	start := time.Now()
	c := m.Cache
	if c != nil {
		if k := c.find(slot, func(k *kept) bool { return reflect.DeepEqual(k.key, any(inputs)) }); k != nil {
			m.log.add(Stage{slot, "memory", time.Since(start).Seconds(), k.bytes})
			return k.value.(V), nil
		}
	}
	v, err := make()
	if err != nil {
		var none V
		return none, err
	}
	bytes := int64(0)
	if c != nil {
		bytes = c.keep(slot, &kept{key: inputs, value: v}, true).bytes
	}
	m.log.add(Stage{slot, "made", time.Since(start).Seconds(), bytes})
	return v, nil
}

// sizeOf returns about how many bytes a result takes.
func sizeOf(v any) int64 {
	if s, ok := v.(Sized); ok {
		return s.Bytes()
	}
	return memory.SizeOf(v)
}
