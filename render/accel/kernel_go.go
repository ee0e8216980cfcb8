package accel

import (
	"math"
	"unsafe"
)

// The portable kernel. It walks the same arena as the assembly and is what that is tested against. Explicit
// conversions to float32 keep compilers from fusing products, which the leak-free edge test must not have.

// closestGo finds the closest hit and leaves it in k.hit; k.hit.prim must be noRef before.
func closestGo(k *kargs) {
	mem := k.base
	tn, tf := bitsOf(k.tn), bitsOf(k.tf)
	nx, ny, nz := k.near[0]>>5&1, 2|k.near[1]>>5&1, 4|k.near[2]>>5&1
	rx, ry, rz := k.r[0], k.r[1], k.r[2]
	px, py, pz := k.or[0], k.or[1], k.or[2]
	sp := 0
	ref := k.root
	for {
		if ref&leafBit == 0 {
			n := (*node)(unsafe.Add(mem, uintptr(ref)<<6))
			x0, x1 := &n.b[nx], &n.b[nx^1]
			y0, y1 := &n.b[ny], &n.b[ny^1]
			z0, z1 := &n.b[nz], &n.b[nz^1]
			from := sp
			for i := 0; i < 8; i++ {
				c := n.child[i]
				if c == noRef {
					break
				}
				a := max(tn, bitsOf(x0[i]*rx+px), bitsOf(y0[i]*ry+py), bitsOf(z0[i]*rz+pz))
				z := min(tf, bitsOf(x1[i]*rx+px), bitsOf(y1[i]*ry+py), bitsOf(z1[i]*rz+pz))
				if a <= z {
					e := uint64(a)<<32 | uint64(c)
					j := sp
					for j > from && k.stack[(j-1)&(stackSize-1)] < e {
						k.stack[j&(stackSize-1)] = k.stack[(j-1)&(stackSize-1)]
						j--
					}
					k.stack[j&(stackSize-1)] = e
					sp++
				}
			}
			if sp > from {
				sp--
				ref = uint32(k.stack[sp&(stackSize-1)])
				continue
			}
		} else {
			l := (*leaf)(unsafe.Add(mem, uintptr(ref&^leafBit)<<6))
			if leafGo(k, l, false) {
				tf = bitsOf(k.tf)
			}
		}
		for {
			if sp == 0 {
				return
			}
			sp--
			e := k.stack[sp&(stackSize-1)]
			if int32(e>>32) <= tf {
				ref = uint32(e)
				break
			}
		}
	}
}

// occludedGo reports whether there is any hit. The order of the children is as it comes: any hit will do.
func occludedGo(k *kargs) bool {
	mem := k.base
	tn, tf := bitsOf(k.tn), bitsOf(k.tf)
	nx, ny, nz := k.near[0]>>5&1, 2|k.near[1]>>5&1, 4|k.near[2]>>5&1
	rx, ry, rz := k.r[0], k.r[1], k.r[2]
	px, py, pz := k.or[0], k.or[1], k.or[2]
	sp := 0
	ref := k.root
	for {
		if ref&leafBit == 0 {
			n := (*node)(unsafe.Add(mem, uintptr(ref)<<6))
			x0, x1 := &n.b[nx], &n.b[nx^1]
			y0, y1 := &n.b[ny], &n.b[ny^1]
			z0, z1 := &n.b[nz], &n.b[nz^1]
			for i := 0; i < 8; i++ {
				c := n.child[i]
				if c == noRef {
					break
				}
				a := max(tn, bitsOf(x0[i]*rx+px), bitsOf(y0[i]*ry+py), bitsOf(z0[i]*rz+pz))
				z := min(tf, bitsOf(x1[i]*rx+px), bitsOf(y1[i]*ry+py), bitsOf(z1[i]*rz+pz))
				k.stack[sp&(stackSize-1)] = uint64(c)
				if a <= z {
					sp++
				}
			}
		} else if leafGo(k, (*leaf)(unsafe.Add(mem, uintptr(ref&^leafBit)<<6)), true) {
			return true
		}
		if sp == 0 {
			return false
		}
		sp--
		ref = uint32(k.stack[sp&(stackSize-1)])
	}
}

// bitsOf orders numbers >= 0 as integers, which compile to conditional moves; negative ones stay below.
func bitsOf(x float32) int32 { return int32(math.Float32bits(x)) }

// leafGo tests the triangles of a leaf, takes over the closest hit in (k.tn, k.tf], and reports whether there was one;
// with first set it returns at the first.
func leafGo(k *kargs, l *leaf, first bool) bool {
	ax, ay, az := k.axis[0]>>2%3, k.axis[1]>>2%3, k.axis[2]>>2%3
	ox, oy, oz := k.org[ax], k.org[ay], k.org[az]
	sx, sy, sz := k.shear[ax], k.shear[ay], k.r[az]
	tn := k.tn
	found := false
	for i := 0; i < 4; i++ {
		z0 := l.v0[az][i] - oz
		x0 := l.v0[ax][i] - ox - float32(sx*z0)
		y0 := l.v0[ay][i] - oy - float32(sy*z0)
		z2 := l.v2[az][i] - oz
		x2 := l.v2[ax][i] - ox - float32(sx*z2)
		y2 := l.v2[ay][i] - oy - float32(sy*z2)
		e := float32(x0*y2) - float32(y0*x2) // of the common edge: weight of w
		for j := i; j < 8; j += 4 {
			z1 := l.w[az][j] - oz
			x1 := l.w[ax][j] - ox - float32(sx*z1)
			y1 := l.w[ay][j] - oy - float32(sy*z1)
			f := float32(x2*y1) - float32(y2*x1) // weight of v0
			g := float32(x1*y0) - float32(y1*x0) // weight of v2
			if !(e >= 0 && f >= 0 && g >= 0) && !(e <= 0 && f <= 0 && g <= 0) {
				continue
			}
			det := e + f + g
			t := (float32(f*z0) + float32(e*z1) + float32(g*z2)) * sz
			if det < 0 {
				det, t = -det, -t
			}
			if !(t > det*tn && t <= det*k.tf) {
				continue
			}
			if first {
				return true
			}
			k.hit = khit{t / det, l.prim[j]}
			k.at = kweights{f / det, e / det, l.corners[j]}
			k.tf = k.hit.t
			found = true
		}
	}
	return found
}
