//go:build amd64 && !purego

#include "textflag.h"

// The exponential as math.Exp has it on a processor with fused products, operation by operation, so that the bits agree:
// x = k ln 2 + 16 r with a whole k, a polynomial of degree 8 for exp(r)-1, four squarings of 1 plus that, and a shift of the
// exponent by k. Arguments stay within 700 so that no result is below the normal numbers.

DATA most<>+0(SB)/8, $700.0
GLOBL most<>(SB), RODATA|NOPTR, $8
DATA noSign<>+0(SB)/8, $0x7fffffffffffffff
GLOBL noSign<>(SB), RODATA|NOPTR, $8
DATA bias<>+0(SB)/8, $0x3ff
GLOBL bias<>(SB), RODATA|NOPTR, $8
DATA log2e<>+0(SB)/8, $1.4426950408889634073599246810018920
GLOBL log2e<>(SB), RODATA|NOPTR, $8
DATA ln2hi<>+0(SB)/8, $0.69314718055966295651160180568695068359375
GLOBL ln2hi<>(SB), RODATA|NOPTR, $8
DATA ln2lo<>+0(SB)/8, $0.28235290563031577122588448175013436025525412068e-12
GLOBL ln2lo<>(SB), RODATA|NOPTR, $8
DATA sixteenth<>+0(SB)/8, $0.0625
GLOBL sixteenth<>(SB), RODATA|NOPTR, $8

// 1/8! to 1/2!, 1, 2
DATA taylor<>+0(SB)/8, $2.4801587301587301587e-5
DATA taylor<>+8(SB)/8, $1.9841269841269841270e-4
DATA taylor<>+16(SB)/8, $1.3888888888888888889e-3
DATA taylor<>+24(SB)/8, $8.3333333333333333333e-3
DATA taylor<>+32(SB)/8, $4.1666666666666666667e-2
DATA taylor<>+40(SB)/8, $1.6666666666666666667e-1
DATA taylor<>+48(SB)/8, $0.5
DATA taylor<>+56(SB)/8, $1.0
DATA taylor<>+64(SB)/8, $2.0
GLOBL taylor<>(SB), RODATA|NOPTR, $72

// SPLIT makes of the numbers in X the whole part K (as float; its low half KX as integers) and r in X.
#define SPLIT(X, K, KX) \
	VMULPD Y15, X, K \
	VCVTPD2DQY K, KX \
	VCVTDQ2PD KX, K \
	VFNMADD231PD Y14, K, X \
	VFNMADD231PD Y13, K, X \
	VMULPD Y12, X, X

// SQUARE turns expm1 of r into that of 2 r.
#define SQUARE(X, T) \
	VADDPD Y11, X, T \
	VMULPD T, X, X

// SHIFT multiplies X by 2^KX.
#define SHIFT(X, KX, K) \
	VPMOVSXDQ KX, K \
	VPADDQ Y10, K, K \
	VPSLLQ $52, K, K \
	VMULPD K, X, X

// GATHER loads four numbers one by one: they were just stored so, and a load across several stores would wait for all.
#define GATHER(AT, Y, X, T) \
	VMOVSD AT+16(AX), T \
	VMOVHPD AT+24(AX), T, T \
	VMOVSD AT(AX), X \
	VMOVHPD AT+8(AX), X, X \
	VINSERTF128 $1, T, Y, Y

#define CONSTANTS \
	VBROADCASTSD log2e<>(SB), Y15 \
	VBROADCASTSD ln2hi<>(SB), Y14 \
	VBROADCASTSD ln2lo<>(SB), Y13 \
	VBROADCASTSD sixteenth<>(SB), Y12 \
	VBROADCASTSD taylor<>+64(SB), Y11 \
	VBROADCASTSD bias<>(SB), Y10

// func exp12(x *[12]float64) bool
TEXT ·exp12(SB), NOSPLIT, $0-9
	MOVQ         x+0(FP), AX
	GATHER(0, Y0, X0, X3)
	GATHER(32, Y1, X1, X4)
	GATHER(64, Y2, X2, X5)
	VBROADCASTSD noSign<>(SB), Y9
	VBROADCASTSD most<>(SB), Y8
	VANDPD       Y9, Y0, Y3
	VANDPD       Y9, Y1, Y4
	VANDPD       Y9, Y2, Y5
	VCMPPD       $2, Y8, Y3, Y3
	VCMPPD       $2, Y8, Y4, Y4
	VCMPPD       $2, Y8, Y5, Y5
	VANDPD       Y4, Y3, Y3
	VANDPD       Y5, Y3, Y3
	VMOVMSKPD    Y3, CX
	CMPL         CX, $15
	JNE          no
	CONSTANTS
	SPLIT(Y0, Y3, X3)
	SPLIT(Y1, Y4, X4)
	SPLIT(Y2, Y5, X5)
	VCVTPD2DQY   Y3, X3
	VCVTPD2DQY   Y4, X4
	VCVTPD2DQY   Y5, X5
	VBROADCASTSD taylor<>+0(SB), Y6
	VMOVAPD      Y6, Y7
	VMOVAPD      Y6, Y8
#define TERM(AT) \
	VBROADCASTSD taylor<>+AT(SB), Y9 \
	VFMADD213PD  Y9, Y0, Y6 \
	VFMADD213PD  Y9, Y1, Y7 \
	VFMADD213PD  Y9, Y2, Y8
	TERM(8)
	TERM(16)
	TERM(24)
	TERM(32)
	TERM(40)
	TERM(48)
	TERM(56)
	VMULPD       Y6, Y0, Y0
	VMULPD       Y7, Y1, Y1
	VMULPD       Y8, Y2, Y2
	SQUARE(Y0, Y6)
	SQUARE(Y1, Y7)
	SQUARE(Y2, Y8)
	SQUARE(Y0, Y6)
	SQUARE(Y1, Y7)
	SQUARE(Y2, Y8)
	SQUARE(Y0, Y6)
	SQUARE(Y1, Y7)
	SQUARE(Y2, Y8)
	VBROADCASTSD taylor<>+56(SB), Y9
	VADDPD       Y11, Y0, Y6
	VADDPD       Y11, Y1, Y7
	VADDPD       Y11, Y2, Y8
	VFMADD213PD  Y9, Y6, Y0
	VFMADD213PD  Y9, Y7, Y1
	VFMADD213PD  Y9, Y8, Y2
	SHIFT(Y0, X3, Y3)
	SHIFT(Y1, X4, Y4)
	SHIFT(Y2, X5, Y5)
	VMOVUPD      Y0, 0(AX)
	VMOVUPD      Y1, 32(AX)
	VMOVUPD      Y2, 64(AX)
	VZEROUPPER
	MOVB         $1, ret+8(FP)
	RET

no:
	VZEROUPPER
	MOVB $0, ret+8(FP)
	RET

// func exp8(x *[8]float64) bool
TEXT ·exp8(SB), NOSPLIT, $0-9
	MOVQ         x+0(FP), AX
	GATHER(0, Y0, X0, X3)
	GATHER(32, Y1, X1, X4)
	VBROADCASTSD noSign<>(SB), Y9
	VBROADCASTSD most<>(SB), Y8
	VANDPD       Y9, Y0, Y3
	VANDPD       Y9, Y1, Y4
	VCMPPD       $2, Y8, Y3, Y3
	VCMPPD       $2, Y8, Y4, Y4
	VANDPD       Y4, Y3, Y3
	VMOVMSKPD    Y3, CX
	CMPL         CX, $15
	JNE          no
	CONSTANTS
	SPLIT(Y0, Y3, X3)
	SPLIT(Y1, Y4, X4)
	VCVTPD2DQY   Y3, X3
	VCVTPD2DQY   Y4, X4
	VBROADCASTSD taylor<>+0(SB), Y6
	VMOVAPD      Y6, Y7
#define TERM2(AT) \
	VBROADCASTSD taylor<>+AT(SB), Y9 \
	VFMADD213PD  Y9, Y0, Y6 \
	VFMADD213PD  Y9, Y1, Y7
	TERM2(8)
	TERM2(16)
	TERM2(24)
	TERM2(32)
	TERM2(40)
	TERM2(48)
	TERM2(56)
	VMULPD       Y6, Y0, Y0
	VMULPD       Y7, Y1, Y1
	SQUARE(Y0, Y6)
	SQUARE(Y1, Y7)
	SQUARE(Y0, Y6)
	SQUARE(Y1, Y7)
	SQUARE(Y0, Y6)
	SQUARE(Y1, Y7)
	VBROADCASTSD taylor<>+56(SB), Y9
	VADDPD       Y11, Y0, Y6
	VADDPD       Y11, Y1, Y7
	VFMADD213PD  Y9, Y6, Y0
	VFMADD213PD  Y9, Y7, Y1
	SHIFT(Y0, X3, Y3)
	SHIFT(Y1, X4, Y4)
	VMOVUPD      Y0, 0(AX)
	VMOVUPD      Y1, 32(AX)
	VZEROUPPER
	MOVB         $1, ret+8(FP)
	RET

no:
	VZEROUPPER
	MOVB $0, ret+8(FP)
	RET

// func exp4(x *[4]float64) bool
TEXT ·exp4(SB), NOSPLIT, $0-9
	MOVQ         x+0(FP), AX
	GATHER(0, Y0, X0, X3)
	VBROADCASTSD noSign<>(SB), Y9
	VBROADCASTSD most<>(SB), Y8
	VANDPD       Y9, Y0, Y3
	VCMPPD       $2, Y8, Y3, Y3
	VMOVMSKPD    Y3, CX
	CMPL         CX, $15
	JNE          no
	CONSTANTS
	SPLIT(Y0, Y3, X3)
	VCVTPD2DQY   Y3, X3
	VBROADCASTSD taylor<>+0(SB), Y6
#define TERM1(AT) \
	VBROADCASTSD taylor<>+AT(SB), Y9 \
	VFMADD213PD  Y9, Y0, Y6
	TERM1(8)
	TERM1(16)
	TERM1(24)
	TERM1(32)
	TERM1(40)
	TERM1(48)
	TERM1(56)
	VMULPD       Y6, Y0, Y0
	SQUARE(Y0, Y6)
	SQUARE(Y0, Y6)
	SQUARE(Y0, Y6)
	VBROADCASTSD taylor<>+56(SB), Y9
	VADDPD       Y11, Y0, Y6
	VFMADD213PD  Y9, Y6, Y0
	SHIFT(Y0, X3, Y3)
	VMOVUPD      Y0, 0(AX)
	VZEROUPPER
	MOVB         $1, ret+8(FP)
	RET

no:
	VZEROUPPER
	MOVB $0, ret+8(FP)
	RET
