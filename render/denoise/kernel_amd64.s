//go:build amd64 && !purego

#include "textflag.h"

// The inner loops of the filter with AVX2 and FMA; kernel_go.go says the same in Go. VZEROUPPER on every way out. Measured by
// BenchmarkClean and BenchmarkCleanGo.

DATA consts<>+0(SB)/4, $0x41400000  // 12
DATA consts<>+4(SB)/4, $0xbfb8aa3b  // -1/log 2
DATA consts<>+8(SB)/4, $0x3f800000  // 1, and the terms of 2^x on [-1/2, 1/2]: (log 2)^n/n!
DATA consts<>+12(SB)/4, $0x3f317218
DATA consts<>+16(SB)/4, $0x3e75fdf0
DATA consts<>+20(SB)/4, $0x3d635847
DATA consts<>+24(SB)/4, $0x3c1d955b
DATA consts<>+28(SB)/4, $0x3aaec3ff
DATA consts<>+32(SB)/4, $0x39218489
GLOBL consts<>(SB), RODATA|NOPTR, $36

// SUMS...: what sums of four and of nine planes have in common.
#define SUMSHEAD \
	MOVQ acc+0(FP), DI \
	MOVQ w+8(FP), SI \
	MOVQ fi+16(FP), BX \
	MOVQ fj+24(FP), R9 \
	MOVQ plane+32(FP), DX \
	MOVQ off+40(FP), R10 \
	MOVQ n+48(FP), AX \
	SHLQ $2, DX \
	LEAQ (DX)(DX*2), R11

#define SUMSLOAD \
	MOVLQSX (R10), CX \
	VMOVUPS (SI), Y12 \
	VMULPS (BX)(CX*4), Y12, Y12 \
	LEAQ (R9)(CX*4), R8

#define SUMSNEXT \
	ADDQ $32, SI \
	ADDQ $4, R10 \
	DECQ AX

// CHANNEL adds one channel's share: the planes at R8 and R9 (value and variance of p) and R10 and R11 (of q).
#define CHANNEL \
	VMOVUPS (R8)(CX*1), Y0 \
	VMOVUPS (R9)(CX*1), Y1 \
	VMOVUPS (R11)(CX*1), Y2 \
	VSUBPS (R10)(CX*1), Y0, Y0 \
	VMINPS Y1, Y2, Y3 \
	VADDPS Y1, Y3, Y3 \
	VFMSUB213PS Y3, Y0, Y0 \
	VADDPS Y1, Y2, Y2 \
	VFMADD213PS Y15, Y14, Y2 \
	VDIVPS Y2, Y0, Y0 \
	VADDPS Y0, Y13, Y13 \
	ADDQ DX, R8 \
	ADDQ DX, R9 \
	ADDQ DX, R10 \
	ADDQ DX, R11

// func distancesAVX2(dst, p, q *float32, plane, n int, eps, strict float32)
TEXT ·distancesAVX2(SB), NOSPLIT, $0-48
	MOVQ dst+0(FP), DI
	MOVQ p+8(FP), SI
	MOVQ q+16(FP), BX
	MOVQ plane+24(FP), DX
	MOVQ n+32(FP), AX
	VBROADCASTSS eps+40(FP), Y15
	VBROADCASTSS strict+44(FP), Y14
	SHLQ $2, DX
	LEAQ (DX)(DX*2), R12
	SHLQ $2, AX
	XORQ CX, CX
distancesLoop:
	VXORPS Y13, Y13, Y13
	MOVQ SI, R8
	LEAQ (SI)(R12*1), R9
	MOVQ BX, R10
	LEAQ (BX)(R12*1), R11
	CHANNEL
	CHANNEL
	CHANNEL
	VMOVUPS Y13, (DI)(CX*1)
	ADDQ $32, CX
	CMPQ CX, AX
	JLT distancesLoop
	VZEROUPPER
	RET

// func columnsAVX2(dst, src *float32, stride, n int)
TEXT ·columnsAVX2(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ stride+16(FP), DX
	MOVQ n+24(FP), AX
	SHLQ $2, DX
	SHLQ $2, AX
	LEAQ (SI)(DX*2), R8
	LEAQ (R8)(DX*1), R9
	XORQ CX, CX
columnsLoop:
	LEAQ (SI)(CX*1), BX
	VMOVUPS (BX), Y0
	VADDPS (BX)(DX*1), Y0, Y0
	VADDPS (R8)(CX*1), Y0, Y0
	LEAQ (R9)(CX*1), R10
	VADDPS (R10), Y0, Y0
	VADDPS (R10)(DX*1), Y0, Y0
	VMOVUPS Y0, (DI)(CX*1)
	ADDQ $32, CX
	CMPQ CX, AX
	JLT columnsLoop
	VZEROUPPER
	RET

// func weightsAVX2(dst, columns, share, trust *float32, stride, n int)
TEXT ·weightsAVX2(SB), NOSPLIT, $0-48
	MOVQ dst+0(FP), DI
	MOVQ columns+8(FP), SI
	MOVQ share+16(FP), BX
	MOVQ trust+24(FP), R8
	MOVQ stride+32(FP), DX
	MOVQ n+40(FP), AX
	SHLQ $2, DX
	SHLQ $2, AX
	VBROADCASTSS consts<>+0(SB), Y15
	VBROADCASTSS consts<>+4(SB), Y14
	VBROADCASTSS consts<>+8(SB), Y13
	VBROADCASTSS consts<>+12(SB), Y12
	VBROADCASTSS consts<>+16(SB), Y11
	VBROADCASTSS consts<>+20(SB), Y10
	VBROADCASTSS consts<>+24(SB), Y9
	VBROADCASTSS consts<>+28(SB), Y8
	VBROADCASTSS consts<>+32(SB), Y7
	VXORPS Y6, Y6, Y6
	XORQ CX, CX
weightsLoop:
	VMOVUPS (SI)(CX*1), Y0
	VADDPS 4(SI)(CX*1), Y0, Y0
	VADDPS 8(SI)(CX*1), Y0, Y0
	VADDPS 12(SI)(CX*1), Y0, Y0
	VADDPS 16(SI)(CX*1), Y0, Y0
	VMULPS (BX)(CX*1), Y0, Y0
	VCMPPS $2, Y15, Y0, Y1
	VMAXPS Y6, Y0, Y0
	VMINPS Y15, Y0, Y0
	VMULPS Y14, Y0, Y0
	VROUNDPS $8, Y0, Y2
	VSUBPS Y2, Y0, Y0
	VMOVAPS Y7, Y3
	VFMADD213PS Y8, Y0, Y3
	VFMADD213PS Y9, Y0, Y3
	VFMADD213PS Y10, Y0, Y3
	VFMADD213PS Y11, Y0, Y3
	VFMADD213PS Y12, Y0, Y3
	VFMADD213PS Y13, Y0, Y3
	VCVTPS2DQ Y2, Y2
	VPSLLD $23, Y2, Y2
	VPADDD Y2, Y3, Y3
	VANDPS Y1, Y3, Y3
	VMULPS (R8)(CX*1), Y3, Y3
	VMOVUPS Y3, (DI)
	ADDQ DX, DI
	ADDQ $32, CX
	CMPQ CX, AX
	JLT weightsLoop
	VZEROUPPER
	RET

// func sums4AVX2(acc, w, fi, fj *float32, plane int, off *int32, n int)
TEXT ·sums4AVX2(SB), NOSPLIT, $0-56
	SUMSHEAD
	VXORPS Y0, Y0, Y0
	VXORPS Y1, Y1, Y1
	VXORPS Y2, Y2, Y2
	VXORPS Y3, Y3, Y3
sums4Loop:
	SUMSLOAD
	VFMADD231PS (R8), Y12, Y0
	VFMADD231PS (R8)(DX*1), Y12, Y1
	VFMADD231PS (R8)(DX*2), Y12, Y2
	VFMADD231PS (R8)(R11*1), Y12, Y3
	SUMSNEXT
	JNZ sums4Loop
	VMOVUPS Y0, (DI)
	VMOVUPS Y1, 32(DI)
	VMOVUPS Y2, 64(DI)
	VMOVUPS Y3, 96(DI)
	VZEROUPPER
	RET

// func sums9AVX2(acc, w, fi, fj *float32, plane int, off *int32, n int)
TEXT ·sums9AVX2(SB), NOSPLIT, $0-56
	SUMSHEAD
	VXORPS Y0, Y0, Y0
	VXORPS Y1, Y1, Y1
	VXORPS Y2, Y2, Y2
	VXORPS Y3, Y3, Y3
	VXORPS Y4, Y4, Y4
	VXORPS Y5, Y5, Y5
	VXORPS Y6, Y6, Y6
	VXORPS Y7, Y7, Y7
	VXORPS Y8, Y8, Y8
sums9Loop:
	SUMSLOAD
	VFMADD231PS (R8), Y12, Y0
	VFMADD231PS (R8)(DX*1), Y12, Y1
	VFMADD231PS (R8)(DX*2), Y12, Y2
	ADDQ R11, R8
	VFMADD231PS (R8), Y12, Y3
	VFMADD231PS (R8)(DX*1), Y12, Y4
	VFMADD231PS (R8)(DX*2), Y12, Y5
	ADDQ R11, R8
	VFMADD231PS (R8), Y12, Y6
	VFMADD231PS (R8)(DX*1), Y12, Y7
	VFMADD231PS (R8)(DX*2), Y12, Y8
	SUMSNEXT
	JNZ sums9Loop
	VMOVUPS Y0, (DI)
	VMOVUPS Y1, 32(DI)
	VMOVUPS Y2, 64(DI)
	VMOVUPS Y3, 96(DI)
	VMOVUPS Y4, 128(DI)
	VMOVUPS Y5, 160(DI)
	VMOVUPS Y6, 192(DI)
	VMOVUPS Y7, 224(DI)
	VMOVUPS Y8, 256(DI)
	VZEROUPPER
	RET

// func kernelsAVX2(k, w, f *float32, plane int, off *int32, b *float32, features, n int)
TEXT ·kernelsAVX2(SB), NOSPLIT, $0-64
	MOVQ k+0(FP), DI
	MOVQ w+8(FP), SI
	MOVQ f+16(FP), BX
	MOVQ plane+24(FP), DX
	MOVQ off+32(FP), R10
	MOVQ b+40(FP), R9
	MOVQ features+48(FP), R12
	MOVQ n+56(FP), AX
	SHLQ $2, DX
	VMOVUPS (R9), Y1
	ADDQ $32, R9
kernelsLoop:
	MOVLQSX (R10), CX
	LEAQ (BX)(CX*4), R8
	VMOVAPS Y1, Y0
	MOVQ R9, R11
	MOVQ R12, CX
kernelsFeature:
	VMOVUPS (R11), Y2
	VFMADD231PS (R8), Y2, Y0
	ADDQ $32, R11
	ADDQ DX, R8
	DECQ CX
	JNZ kernelsFeature
	VMULPS (SI), Y0, Y0
	VMOVUPS Y0, (DI)
	ADDQ $32, SI
	ADDQ $32, DI
	ADDQ $4, R10
	DECQ AX
	JNZ kernelsLoop
	VZEROUPPER
	RET
