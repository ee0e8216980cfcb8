//go:build amd64 && !purego

#include "textflag.h"

// Whole-ray traversal with AVX2, FMA and BMI1: one call a ray. See kernel_go.go for the same in Go. VZEROUPPER on every
// way out, so that the legacy SSE code around it runs at full speed. Measured by BenchmarkRays: 1.9 to 5.1 times the
// rays per second of the Go kernel.
//
//	AX kargs   BX arena   SI node or leaf   DI top of stack   DX ref   CX lanes hit   R8 R14 scratch
//	R9 R10 R11 near rows   R12 R13 R15 far rows
//	Y0 Y1 Y2 1/d   Y3 Y4 Y5 -o/d   Y6 tn   Y7 tf, between leaves

// offsets in kargs
#define TF    28
#define ORG   32
#define SHEAR 44
#define BASE  64
#define AXIS  72
#define NEAR  96
#define HIT   120
#define ROOT  128
#define TMP   132
#define DIST  144
#define STACK 176
#define WA    4272
#define WB    4304
#define HITW  4336

// refs of a node and triangles of a leaf; which corners of its triangle a leaf's lane holds
#define REFS 192
#define CORNERS 224

#define RAY \
	VBROADCASTSS 0(AX), Y0 \
	VBROADCASTSS 4(AX), Y1 \
	VBROADCASTSS 8(AX), Y2 \
	VBROADCASTSS 12(AX), Y3 \
	VBROADCASTSS 16(AX), Y4 \
	VBROADCASTSS 20(AX), Y5

#define PROLOGUE \
	MOVQ k+0(FP), AX \
	MOVQ BASE(AX), BX \
	MOVQ (NEAR+0)(AX), R9 \
	MOVQ (NEAR+8)(AX), R10 \
	MOVQ (NEAR+16)(AX), R11 \
	MOVQ R9, R12 \
	MOVQ R10, R13 \
	MOVQ R11, R15 \
	XORQ $32, R12 \
	XORQ $32, R13 \
	XORQ $32, R15 \
	LEAQ STACK(AX), DI \
	MOVL $0xffffffff, DX \
	MOVQ DX, (DI) \
	ADDQ $8, DI \
	MOVL ROOT(AX), DX \
	RAY \
	VBROADCASTSS 24(AX), Y6 \
	VBROADCASTSS 28(AX), Y7

// NODETEST leaves the entry distances in Y8 and the lanes hit in CX. The order of the first two maxima matters: of
// two zeros VMAXPS gives the second source, so that Y8 is never -0 and its bits order like its values.
#define NODETEST \
	MOVL DX, SI \
	SHLQ $6, SI \
	ADDQ BX, SI \
	VMOVUPS (SI)(R9*1), Y8 \
	VMOVUPS (SI)(R10*1), Y9 \
	VMOVUPS (SI)(R11*1), Y10 \
	VMOVUPS (SI)(R12*1), Y11 \
	VMOVUPS (SI)(R13*1), Y12 \
	VMOVUPS (SI)(R15*1), Y13 \
	VFMADD213PS Y3, Y0, Y8 \
	VFMADD213PS Y4, Y1, Y9 \
	VFMADD213PS Y5, Y2, Y10 \
	VFMADD213PS Y3, Y0, Y11 \
	VFMADD213PS Y4, Y1, Y12 \
	VFMADD213PS Y5, Y2, Y13 \
	VMAXPS Y6, Y8, Y8 \
	VMAXPS Y9, Y10, Y10 \
	VMINPS Y7, Y11, Y11 \
	VMINPS Y12, Y13, Y13 \
	VMAXPS Y8, Y10, Y8 \
	VMINPS Y13, Y11, Y11 \
	VCMPPS $2, Y11, Y8, Y12 \
	VMOVMSKPS Y12, CX

// ENTRY turns the lane in R into a stack entry, distance above ref; it clobbers T.
#define ENTRY(R, T) \
	MOVL REFS(SI)(R*4), T \
	MOVL DIST(AX)(R*4), R \
	SHLQ $32, R \
	ORQ T, R

// AHEAD fetches the 256 bytes that the entry in R leads to; it clobbers T.
#define AHEAD(R, T) \
	MOVL R, T \
	ANDL $0x7fffffff, T \
	SHLQ $6, T \
	PREFETCHT0 (BX)(T*1) \
	PREFETCHT0 64(BX)(T*1) \
	PREFETCHT0 128(BX)(T*1) \
	PREFETCHT0 192(BX)(T*1)

// ROWS loads v0, w and v2 along one axis, relative to the origin.
#define ROWS(R, A, B, C) \
	VBROADCASTSS ORG(AX)(R*1), Y14 \
	VBROADCASTF128 (SI)(R*4), A \
	VMOVUPS 96(SI)(R*8), B \
	VBROADCASTF128 48(SI)(R*4), C \
	VSUBPS Y14, A, A \
	VSUBPS Y14, B, B \
	VSUBPS Y14, C, C

// SLANT projects them along the ray; their depths are in Y8, Y9, Y10.
#define SLANT(R, A, B, C) \
	VBROADCASTSS SHEAR(AX)(R*1), Y15 \
	VFNMADD231PS Y8, Y15, A \
	VFNMADD231PS Y9, Y15, B \
	VFNMADD231PS Y10, Y15, C

// LEAFTEST leaves the lanes hit in CX, |det| in Y15 and t |det| in Y8; it keeps Y6 and Y7 and clobbers all others. The
// edge functions (weights of w, v0, v2 in Y11, Y12, Y13) must not use fused products: see doc.go.
#define LEAFTEST \
	ANDL $0x7fffffff, DX \
	MOVL DX, SI \
	SHLQ $6, SI \
	ADDQ BX, SI \
	MOVQ (AXIS+16)(AX), CX \
	MOVQ (AXIS+0)(AX), R8 \
	MOVQ (AXIS+8)(AX), R14 \
	ROWS(CX, Y8, Y9, Y10) \
	ROWS(R8, Y0, Y1, Y2) \
	SLANT(R8, Y0, Y1, Y2) \
	ROWS(R14, Y3, Y4, Y5) \
	SLANT(R14, Y3, Y4, Y5) \
	VMULPS Y5, Y0, Y11 \
	VMULPS Y2, Y3, Y14 \
	VMULPS Y4, Y2, Y12 \
	VMULPS Y1, Y5, Y15 \
	VMULPS Y3, Y1, Y13 \
	VSUBPS Y14, Y11, Y11 \
	VMULPS Y0, Y4, Y14 \
	VSUBPS Y15, Y12, Y12 \
	VSUBPS Y14, Y13, Y13 \
	VADDPS Y11, Y12, Y15 \
	VADDPS Y13, Y15, Y15 \
	VMINPS Y11, Y12, Y0 \
	VMAXPS Y11, Y12, Y1 \
	VMULPS Y8, Y12, Y8 \
	VFMADD231PS Y9, Y11, Y8 \
	VFMADD231PS Y10, Y13, Y8 \
	VMINPS Y13, Y0, Y0 \
	VMAXPS Y13, Y1, Y1 \
	VXORPS Y2, Y2, Y2 \
	VCMPPS $13, Y2, Y0, Y0 \
	VCMPPS $2, Y2, Y1, Y1 \
	VORPS Y1, Y0, Y0 \
	VBROADCASTSS 0(AX)(CX*1), Y14 \
	VMULPS Y14, Y8, Y8 \
	VPCMPEQD Y3, Y3, Y3 \
	VPSLLD $31, Y3, Y3 \
	VANDPS Y3, Y15, Y4 \
	VXORPS Y4, Y15, Y15 \
	VXORPS Y4, Y8, Y8 \
	VMULPS Y6, Y15, Y9 \
	VMULPS Y7, Y15, Y10 \
	VCMPPS $1, Y8, Y9, Y9 \
	VCMPPS $2, Y10, Y8, Y10 \
	VANDPS Y9, Y10, Y10 \
	VANDPS Y0, Y10, Y10 \
	VMOVMSKPS Y10, CX

// func closestAVX2(k *kargs)
TEXT ·closestAVX2(SB), NOSPLIT, $0-8
	PROLOGUE
	TESTL DX, DX
	JS    leaf

node:
	NODETEST
	TESTL  CX, CX
	JZ     pop
	TZCNTL CX, R8
	BLSRL  CX, CX
	JNZ    two
	MOVL   REFS(SI)(R8*4), DX
	TESTL  DX, DX
	JNS    node
	JMP    leaf

two:
	VMOVUPS Y8, DIST(AX)
	ENTRY(R8, DX)
	TZCNTL  CX, R14
	BLSRL   CX, CX
	ENTRY(R14, DX)
	MOVQ    R8, DX
	CMPQ    R14, R8
	CMOVQCS R14, DX // DX nearer, R14 farther
	CMOVQCS R8, R14
	TESTL   CX, CX
	JNZ     three
	MOVQ    R14, (DI)
	ADDQ    $8, DI
	AHEAD(R14, SI)
	TESTL   DX, DX
	JNS     node
	JMP     leaf

three:
	MOVQ   DX, (DI)
	TZCNTL CX, R8
	BLSRL  CX, CX
	ENTRY(R8, DX)
	MOVQ   (DI), DX
	CMPQ   R8, R14
	JCC    sorted
	XCHGQ  R8, R14
	CMPQ   R14, DX
	JCC    sorted
	XCHGQ  DX, R14

sorted: // DX <= R14 <= R8
	MOVQ  R8, (DI)
	MOVQ  R14, 8(DI)
	TESTL CX, CX
	JNZ   four
	ADDQ  $16, DI
	AHEAD(R14, SI)
	AHEAD(R8, SI)
	TESTL DX, DX
	JNS   node
	JMP   leaf

four: // insert the rest into the run, farthest first, that starts at R8
	MOVQ DX, 16(DI)
	MOVQ DI, R8
	ADDQ $24, DI

insert:
	TZCNTL CX, R14
	BLSRL  CX, CX
	ENTRY(R14, DX)
	MOVL   CX, TMP(AX)
	MOVQ   DI, CX

shift:
	MOVQ -8(CX), DX
	CMPQ DX, R14
	JCC  place
	MOVQ DX, (CX)
	SUBQ $8, CX
	CMPQ CX, R8
	JNE  shift

place:
	MOVQ  R14, (CX)
	MOVL  TMP(AX), CX
	ADDQ  $8, DI
	TESTL CX, CX
	JNZ   insert
	SUBQ  $8, DI
	MOVQ  (DI), DX
	TESTL DX, DX
	JNS   node

leaf:
	CMPL  DX, $0xffffffff
	JE    done
	LEAFTEST
	TESTL CX, CX
	JNZ   hit
	RAY

pop:
	SUBQ  $8, DI
	MOVQ  (DI), DX
	MOVQ  DX, R8
	SHRQ  $32, R8
	CMPL  R8, TF(AX)
	JHI   pop
	TESTL DX, DX
	JNS   node
	JMP   leaf

hit: // the nearest of the lanes
	VDIVPS  Y15, Y8, Y8
	VDIVPS  Y15, Y12, Y12
	VDIVPS  Y15, Y11, Y11
	VMOVUPS Y8, DIST(AX)
	VMOVUPS Y12, WA(AX)
	VMOVUPS Y11, WB(AX)
	MOVL    $0x7fffffff, R14
	XORL    DX, DX

next:
	TZCNTL CX, R8
	BLSRL  CX, CX
	CMPL   R14, DIST(AX)(R8*4)
	JLS    skip
	MOVL   DIST(AX)(R8*4), R14
	MOVL   R8, DX

skip:
	TESTL        CX, CX
	JNZ          next
	MOVL         R14, TF(AX)
	MOVL         R14, (HIT+0)(AX)
	MOVL         REFS(SI)(DX*4), R8
	MOVL         R8, (HIT+4)(AX)
	MOVL         WA(AX)(DX*4), R8
	MOVL         R8, (HITW+0)(AX)
	MOVL         WB(AX)(DX*4), R8
	MOVL         R8, (HITW+4)(AX)
	MOVL         CORNERS(SI)(DX*4), R8
	MOVL         R8, (HITW+8)(AX)
	RAY
	VBROADCASTSS TF(AX), Y7
	JMP          pop

done:
	VZEROUPPER
	RET

// func occludedAVX2(k *kargs) bool
TEXT ·occludedAVX2(SB), NOSPLIT, $0-9
	PROLOGUE
	TESTL DX, DX
	JS    leaf

node:
	NODETEST
	TESTL  CX, CX
	JZ     pop
	TZCNTL CX, R8
	BLSRL  CX, CX
	JNZ    two
	MOVL   REFS(SI)(R8*4), DX
	TESTL  DX, DX
	JNS    node
	JMP    leaf

two:
	VMOVUPS Y8, DIST(AX)
	ENTRY(R8, DX)

more: // R8 farthest so far
	TZCNTL  CX, R14
	BLSRL   CX, CX
	ENTRY(R14, DX)
	MOVQ    R8, DX
	CMPQ    R14, R8
	CMOVQHI R14, R8
	CMOVQHI DX, R14
	MOVQ    R14, (DI)
	ADDQ    $8, DI
	AHEAD(R14, DX)
	TESTL   CX, CX
	JNZ     more
	MOVQ    R8, DX
	TESTL   DX, DX
	JNS     node

leaf:
	CMPL  DX, $0xffffffff
	JE    miss
	LEAFTEST
	TESTL CX, CX
	JNZ   hit
	RAY

pop:
	SUBQ  $8, DI
	MOVQ  (DI), DX
	TESTL DX, DX
	JNS   node
	JMP   leaf

hit:
	VZEROUPPER
	MOVB $1, ret+8(FP)
	RET

miss:
	VZEROUPPER
	MOVB $0, ret+8(FP)
	RET
