package memory

import (
	"reflect"
	"unsafe"
)

// SizeOf returns about how many bytes a value takes with all that it points to, each once. What closures hold is not seen.
func SizeOf(v any) int64 {
	s := sizer{seen: map[unsafe.Pointer]bool{}, deep: map[reflect.Type]bool{}}
	return s.value(reflect.ValueOf(v))
}

type sizer struct {
	seen map[unsafe.Pointer]bool
	deep map[reflect.Type]bool // types that point to more
}

// first reports whether what lies at p was not counted yet.
func (s *sizer) first(p unsafe.Pointer) bool {
	if p == nil || s.seen[p] {
		return false
	}
	s.seen[p] = true
	return true
}

// value returns what a value points to, and its own size where it is not part of another.
func (s *sizer) value(v reflect.Value) int64 {
	if !v.IsValid() {
		return 0
	}
	return int64(v.Type().Size()) + s.beyond(v)
}

// beyond returns what a value points to.
func (s *sizer) beyond(v reflect.Value) (n int64) {
	switch v.Kind() {
	case reflect.Pointer:
		if s.first(v.UnsafePointer()) {
			n = s.value(v.Elem())
		}
	case reflect.Interface:
		n = s.value(v.Elem())
	case reflect.String:
		n = int64(v.Len())
	case reflect.Slice:
		if v.Len() > 0 && s.first(v.UnsafePointer()) {
			n = int64(v.Cap()) * int64(v.Type().Elem().Size())
			if s.points(v.Type().Elem()) {
				for i := range v.Len() {
					n += s.beyond(v.Index(i))
				}
			}
		}
	case reflect.Array:
		if s.points(v.Type().Elem()) {
			for i := range v.Len() {
				n += s.beyond(v.Index(i))
			}
		}
	case reflect.Struct:
		if s.points(v.Type()) {
			for i := range v.NumField() {
				n += s.beyond(v.Field(i))
			}
		}
	case reflect.Map:
		if s.first(v.UnsafePointer()) {
			for it := v.MapRange(); it.Next(); {
				n += s.value(it.Key()) + s.value(it.Value())
			}
		}
	}
	return n
}

// points reports whether values of a type can point to more.
func (s *sizer) points(t reflect.Type) bool {
	if p, known := s.deep[t]; known {
		return p
	}
	p := false
	switch t.Kind() {
	case reflect.Pointer, reflect.Interface, reflect.String, reflect.Slice, reflect.Map:
		p = true
	case reflect.Array:
		p = s.points(t.Elem())
	case reflect.Struct:
		for i := range t.NumField() {
			p = p || s.points(t.Field(i).Type)
		}
	}
	s.deep[t] = p
	return p
}
