//go:build amd64 && !purego

package denoise

import (
	"os"

	"golang.org/x/sys/cpu"
)

// useAVX2 picks the loops. CATCHLIGHT_KERNEL=go takes the portable ones, to compare.
var useAVX2 = cpu.X86.HasAVX2 && cpu.X86.HasFMA && os.Getenv("CATCHLIGHT_KERNEL") != "go"

//go:noescape
func distancesAVX2(dst, p, q *float32, plane, n int, eps, strict float32)

//go:noescape
func columnsAVX2(dst, src *float32, stride, n int)

//go:noescape
func weightsAVX2(dst, columns, share, trust *float32, stride, n int)

//go:noescape
func sums4AVX2(acc, w, fi, fj *float32, plane int, off *int32, n int)

//go:noescape
func sums9AVX2(acc, w, fi, fj *float32, plane int, off *int32, n int)

//go:noescape
func kernelsAVX2(k, w, f *float32, plane int, off *int32, b *float32, features, n int)
