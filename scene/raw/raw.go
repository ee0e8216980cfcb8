// Package raw writes values of fixed size as they lie in memory, and reads them back without a copy: what a program keeps
// for its own next start on the same machine. It is no format for exchange: another order of bytes or another size of
// a type makes other data, so whoever keeps it names program and machine in its key.
//
//	Writer  gathers values
//	Reader  gives them back, in the same order; it stops at the first thing that does not fit, and Err says so
package raw

import (
	"encoding/binary"
	"errors"
	"io"
	"reflect"
	"unsafe"
)

// align is what slices begin at, in bytes from the start.
const align = 64

// Writer writes to w; the first error stays and ends the writing.
type Writer struct {
	w   io.Writer
	at  int64
	err error
}

// NewWriter returns a writer that begins at the start of w.
func NewWriter(w io.Writer) *Writer { return &Writer{w: w} }

// Err returns what went wrong, or nil.
func (w *Writer) Err() error { return w.err }

func (w *Writer) write(b []byte) {
	if w.err == nil {
		_, w.err = w.w.Write(b)
		w.at += int64(len(b))
	}
}

// Value writes one value, which must hold no pointers.
func Value[T any](w *Writer, v T) { Slice(w, []T{v}) }

// Slice writes a slice of values without pointers; a nil one comes back as nil.
func Slice[T any](w *Writer, s []T) {
	n := int64(len(s))
	if s == nil {
		n = -1
	}
	w.write(binary.LittleEndian.AppendUint64(nil, uint64(n)))
	if n <= 0 {
		return
	}
	if !flat(reflect.TypeFor[T]()) {
		w.err = errors.New("raw: a value with pointers can't be kept")
		return
	}
	w.write(make([]byte, -w.at&(align-1)))
	w.write(unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(s))), len(s)*int(unsafe.Sizeof(s[0]))))
}

// Text writes a string.
func Text(w *Writer, s string) { Slice(w, []byte(s)) }

// flat says that a type holds no pointers.
func flat(t reflect.Type) bool {
	switch t.Kind() {
	case reflect.Array:
		return flat(t.Elem())
	case reflect.Struct:
		for i := range t.NumField() {
			if !flat(t.Field(i).Type) {
				return false
			}
		}
		return true
	}
	return t.Kind() >= reflect.Bool && t.Kind() <= reflect.Complex128 && t.Kind() != reflect.Uintptr
}

// Reader reads what a Writer wrote. What it returns shares the memory of data.
type Reader struct {
	data []byte
	at   int64
	err  error
}

// NewReader returns a reader of data, which must begin at a multiple of 64 bytes in memory; see Aligned.
func NewReader(data []byte) *Reader { return &Reader{data: data} }

// Aligned returns n bytes that begin at a multiple of 64.
func Aligned(n int) []byte {
	b := make([]byte, n+align)
	skip := int(-uintptr(unsafe.Pointer(unsafe.SliceData(b))) & (align - 1))
	return b[skip : skip+n : skip+n]
}

// Err returns what did not fit, or nil.
func (r *Reader) Err() error { return r.err }

// Done returns what did not fit, or an error where something is left.
func (r *Reader) Done() error {
	if r.err == nil && r.at != int64(len(r.data)) {
		r.err = errors.New("raw: there is more than was read")
	}
	return r.err
}

var errShort = errors.New("raw: the data ends early")

func (r *Reader) take(n int64) []byte {
	if r.err == nil && (n < 0 || n > int64(len(r.data))-r.at) {
		r.err = errShort
	}
	if r.err != nil {
		return nil
	}
	b := r.data[r.at : r.at+n : r.at+n]
	r.at += n
	return b
}

// ReadValue reads one value.
func ReadValue[T any](r *Reader) (v T) {
	s := ReadSlice[T](r)
	if len(s) != 1 {
		if r.err == nil {
			r.err = errors.New("raw: one value was expected")
		}
		return v
	}
	return s[0]
}

// ReadSlice reads a slice.
func ReadSlice[T any](r *Reader) []T {
	head := r.take(8)
	if r.err != nil {
		return nil
	}
	n := int64(binary.LittleEndian.Uint64(head))
	switch {
	case n == -1:
		return nil
	case n == 0:
		return []T{}
	}
	var one T
	size := int64(unsafe.Sizeof(one))
	if n < 0 || size == 0 || n > int64(len(r.data))/size {
		r.err = errShort
		return nil
	}
	r.take(-r.at & (align - 1))
	b := r.take(n * size)
	if r.err != nil {
		return nil
	}
	return unsafe.Slice((*T)(unsafe.Pointer(unsafe.SliceData(b))), n)
}

// ReadText reads a string.
func ReadText(r *Reader) string { return string(ReadSlice[byte](r)) }
