//go:build !unix

package accel

func cpuSeconds() float64 { return 0 }
