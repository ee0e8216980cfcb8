//go:build amd64 && !purego

package accel

import (
	"os"

	"golang.org/x/sys/cpu"
)

// useAVX2 picks the kernel. CATCHLIGHT_KERNEL=go takes the portable one, to compare.
var useAVX2 = cpu.X86.HasAVX2 && cpu.X86.HasFMA && cpu.X86.HasBMI1 && os.Getenv("CATCHLIGHT_KERNEL") != "go"

// closestAVX2 finds the closest hit and leaves it in k.hit; k.hit.prim must be noRef before.
//
//go:noescape
func closestAVX2(k *kargs)

// occludedAVX2 reports whether there is any hit.
//
//go:noescape
func occludedAVX2(k *kargs) bool
