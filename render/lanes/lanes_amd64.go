//go:build amd64 && !purego

package lanes

import (
	"os"

	"golang.org/x/sys/cpu"
)

// useAVX2 picks the assembly, as in the ray kernel; without fused products math.Exp itself rounds otherwise.
var useAVX2 = cpu.X86.HasAVX2 && cpu.X86.HasFMA && os.Getenv("CATCHLIGHT_KERNEL") != "go"

// exp4 does Exp of four numbers; it reports false, and leaves them, where one is beyond 700 or no number.
//
//go:noescape
func exp4(x *[4]float64) bool

// exp8 is exp4 of eight.
//
//go:noescape
func exp8(x *[8]float64) bool

// exp12 is exp4 of twelve.
//
//go:noescape
func exp12(x *[12]float64) bool
