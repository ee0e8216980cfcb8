package gltfio

import (
	"encoding/binary"
	"fmt"
	"math"

	"github.com/qmuntal/gltf"
)

// view returns the bytes of a buffer view and its stride, 0 where the values are packed.
func (r *reader) view(i int) (data []byte, stride int, err error) {
	if i < 0 || i >= len(r.doc.BufferViews) {
		return nil, 0, fmt.Errorf("bufferView %d, there are %d", i, len(r.doc.BufferViews))
	}
	v := r.doc.BufferViews[i]
	if v.Buffer < 0 || v.Buffer >= len(r.buffers) {
		return nil, 0, fmt.Errorf("bufferViews[%d]: buffer %d, there are %d", i, v.Buffer, len(r.buffers))
	}
	b := r.buffers[v.Buffer]
	if v.ByteOffset < 0 || v.ByteLength < 1 || v.ByteLength > len(b) || v.ByteOffset > len(b)-v.ByteLength {
		return nil, 0, fmt.Errorf("bufferViews[%d]: %d bytes from byte %d on, buffer %d has %d", i, v.ByteLength, v.ByteOffset, v.Buffer, len(b))
	}
	if v.ByteStride < 0 || v.ByteStride > 252 {
		return nil, 0, fmt.Errorf("bufferViews[%d]: byteStride %d, must be 4 to 252", i, v.ByteStride)
	}
	return b[v.ByteOffset : v.ByteOffset+v.ByteLength], v.ByteStride, nil
}

// strided cuts count values of size bytes out of a view.
func (r *reader) strided(view, offset, count, size int) (data []byte, stride int, err error) {
	data, stride, err = r.view(view)
	if err != nil {
		return nil, 0, err
	}
	if stride == 0 {
		stride = size
	}
	if stride < size {
		return nil, 0, fmt.Errorf("bufferViews[%d]: byteStride %d, a value has %d bytes", view, stride, size)
	}
	// count is at most maxValues here, so nothing overflows.
	if need := stride*(count-1) + size; offset < 0 || need > len(data) || offset > len(data)-need {
		return nil, 0, fmt.Errorf("%d values of %d bytes every %d from byte %d on do not fit into bufferViews[%d] of %d bytes", count, size, stride, offset, view, len(data))
	}
	return data[offset:], stride, nil
}

// accessor returns accessor i after checking its kind and count, and counts its values.
func (r *reader) accessor(i int, typ gltf.AccessorType) (*gltf.Accessor, error) {
	if i < 0 || i >= len(r.doc.Accessors) {
		return nil, fmt.Errorf("accessor %d, there are %d", i, len(r.doc.Accessors))
	}
	a := r.doc.Accessors[i]
	n := typ.Components()
	switch {
	case a.Type != typ:
		return nil, fmt.Errorf("accessors[%d] is of type %v, must be %v", i, a.Type, typ)
	case a.Count < 1 || a.Count > maxValues/n:
		return nil, fmt.Errorf("accessors[%d]: count %d, must be 1 to %d", i, a.Count, maxValues/n)
	case a.BufferView == nil && a.Sparse == nil:
		return nil, fmt.Errorf("accessors[%d] of %d values has neither a bufferView nor sparse values", i, a.Count)
	case a.BufferView == nil && a.Count > MaxVertices/4:
		return nil, fmt.Errorf("accessors[%d]: count %d without a bufferView, at most %d are read", i, a.Count, MaxVertices/4)
	}
	if r.values += a.Count * n; r.values > maxValues {
		return nil, fmt.Errorf("accessors[%d]: more than %d values in all", i, maxValues)
	}
	return a, nil
}

// floats decodes accessor i into n floats a value, whole numbers normalised where the accessor says so.
func (r *reader) floats(i int, typ gltf.AccessorType) ([]float32, error) {
	a, err := r.accessor(i, typ)
	if err != nil {
		return nil, err
	}
	if a.ComponentType == gltf.ComponentUint {
		return nil, fmt.Errorf("accessors[%d]: component type UNSIGNED_INT is for indices only", i)
	}
	n, size := typ.Components(), a.ComponentType.ByteSize()
	var out []float32
	if a.BufferView != nil {
		data, stride, err := r.strided(*a.BufferView, a.ByteOffset, a.Count, n*size)
		if err != nil {
			return nil, fmt.Errorf("accessors[%d]: %w", i, err)
		}
		out = make([]float32, a.Count*n)
		for k := range a.Count {
			decode(out[k*n:(k+1)*n], data[k*stride:], a)
		}
	} else {
		out = make([]float32, a.Count*n)
	}
	if s := a.Sparse; s != nil {
		if s.Count < 1 || s.Count > a.Count {
			return nil, fmt.Errorf("accessors[%d].sparse: count %d, must be 1 to %d", i, s.Count, a.Count)
		}
		data, stride, err := r.strided(s.Values.BufferView, s.Values.ByteOffset, s.Count, n*size)
		if err != nil {
			return nil, fmt.Errorf("accessors[%d].sparse.values: %w", i, err)
		}
		at, err := r.whole(s.Indices.BufferView, s.Indices.ByteOffset, s.Count, s.Indices.ComponentType)
		if err != nil {
			return nil, fmt.Errorf("accessors[%d].sparse.indices: %w", i, err)
		}
		for k, v := range at {
			if int64(v) >= int64(a.Count) || k > 0 && v <= at[k-1] {
				return nil, fmt.Errorf("accessors[%d].sparse.indices: %d in place %d; they must rise and be below %d", i, v, k, a.Count)
			}
			decode(out[int(v)*n:(int(v)+1)*n], data[k*stride:], a)
		}
	}
	return out, nil
}

// decode reads the components of one value. Source of the normalised forms: glTF 2.0, section 3.11.
func decode(dst []float32, src []byte, a *gltf.Accessor) {
	for c := range dst {
		var v, one float32
		switch a.ComponentType {
		case gltf.ComponentFloat:
			dst[c] = math.Float32frombits(binary.LittleEndian.Uint32(src[4*c:]))
			continue
		case gltf.ComponentByte:
			v, one = float32(int8(src[c])), 127
		case gltf.ComponentUbyte:
			v, one = float32(src[c]), 255
		case gltf.ComponentShort:
			v, one = float32(int16(binary.LittleEndian.Uint16(src[2*c:]))), 32767
		case gltf.ComponentUshort:
			v, one = float32(binary.LittleEndian.Uint16(src[2*c:])), 65535
		}
		if a.Normalized {
			v = max(v/one, -1)
		}
		dst[c] = v
	}
}

// indices decodes accessor i as vertex numbers.
func (r *reader) indices(i int) ([]uint32, error) {
	a, err := r.accessor(i, gltf.AccessorScalar)
	if err != nil {
		return nil, err
	}
	if a.BufferView == nil || a.Sparse != nil {
		return nil, fmt.Errorf("accessors[%d]: indices must be in a bufferView, not sparse", i)
	}
	out, err := r.whole(*a.BufferView, a.ByteOffset, a.Count, a.ComponentType)
	if err != nil {
		return nil, fmt.Errorf("accessors[%d]: %w", i, err)
	}
	return out, nil
}

// whole decodes unsigned whole numbers.
func (r *reader) whole(view, offset, count int, typ gltf.ComponentType) ([]uint32, error) {
	if typ != gltf.ComponentUbyte && typ != gltf.ComponentUshort && typ != gltf.ComponentUint {
		return nil, fmt.Errorf("component type %v, indices must be unsigned", typ)
	}
	data, stride, err := r.strided(view, offset, count, typ.ByteSize())
	if err != nil {
		return nil, err
	}
	out := make([]uint32, count)
	for k := range out {
		switch b := data[k*stride:]; typ {
		case gltf.ComponentUbyte:
			out[k] = uint32(b[0])
		case gltf.ComponentUshort:
			out[k] = uint32(binary.LittleEndian.Uint16(b))
		default:
			out[k] = binary.LittleEndian.Uint32(b)
		}
	}
	return out, nil
}
