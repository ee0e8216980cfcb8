//go:build !unix

package live

func cpuSeconds() float64 { return 0 }
