//go:build amd64 && !purego

package accel

import (
	"testing"
	"unsafe"
)

// kernels lists what this machine can run.
func kernels() []string {
	if useAVX2 {
		return []string{"avx2", "go"}
	}
	return []string{"go"}
}

// selectKernel switches to the named kernel and returns what switches back.
func selectKernel(name string) func() {
	was := useAVX2
	useAVX2 = name == "avx2"
	return func() { useAVX2 = was }
}

// The assembly knows these offsets.
func TestKargsLayout(t *testing.T) {
	var k kargs
	for _, f := range []struct {
		name      string
		got, want uintptr
	}{
		{"r", unsafe.Offsetof(k.r), 0},
		{"or", unsafe.Offsetof(k.or), 12},
		{"tn", unsafe.Offsetof(k.tn), 24},
		{"tf", unsafe.Offsetof(k.tf), 28},
		{"org", unsafe.Offsetof(k.org), 32},
		{"shear", unsafe.Offsetof(k.shear), 44},
		{"base", unsafe.Offsetof(k.base), 64},
		{"axis", unsafe.Offsetof(k.axis), 72},
		{"near", unsafe.Offsetof(k.near), 96},
		{"hit", unsafe.Offsetof(k.hit), 120},
		{"hit.prim", unsafe.Offsetof(k.hit) + unsafe.Offsetof(k.hit.prim), 124},
		{"root", unsafe.Offsetof(k.root), 128},
		{"tmp", unsafe.Offsetof(k.tmp), 132},
		{"dist", unsafe.Offsetof(k.dist), 144},
		{"stack", unsafe.Offsetof(k.stack), 176},
		{"at", unsafe.Offsetof(k.at), 4336},
		{"at.b", unsafe.Offsetof(k.at) + unsafe.Offsetof(k.at.b), 4340},
		{"at.corners", unsafe.Offsetof(k.at) + unsafe.Offsetof(k.at.corners), 4344},
		{"leaf.corners", unsafe.Offsetof(leaf{}.corners), 224},
		{"node.child", unsafe.Offsetof(node{}.child), 192},
		{"leaf.v2", unsafe.Offsetof(leaf{}.v2), 48},
		{"leaf.w", unsafe.Offsetof(leaf{}.w), 96},
		{"leaf.prim", unsafe.Offsetof(leaf{}.prim), 192},
		{"node size", unsafe.Sizeof(node{}), 256},
		{"leaf size", unsafe.Sizeof(leaf{}), 256},
	} {
		if f.got != f.want {
			t.Errorf("%s is at %d, the assembly takes %d", f.name, f.got, f.want)
		}
	}
}
