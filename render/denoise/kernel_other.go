//go:build !amd64 || purego

package denoise

const useAVX2 = false

func distancesAVX2(dst, p, q *float32, plane, n int, eps, strict float32)              {}
func columnsAVX2(dst, src *float32, stride, n int)                                     {}
func weightsAVX2(dst, columns, share, trust *float32, stride, n int)                   {}
func sums4AVX2(acc, w, fi, fj *float32, plane int, off *int32, n int)                  {}
func sums9AVX2(acc, w, fi, fj *float32, plane int, off *int32, n int)                  {}
func kernelsAVX2(k, w, f *float32, plane int, off *int32, b *float32, features, n int) {}
