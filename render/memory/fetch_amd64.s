//go:build amd64 && !purego

#include "textflag.h"

// func Fetch(p, q unsafe.Pointer)
TEXT ·Fetch(SB), NOSPLIT, $0-16
	MOVQ p+0(FP), AX
	MOVQ q+8(FP), BX
	PREFETCHT0 (AX)
	PREFETCHT0 (BX)
	RET
