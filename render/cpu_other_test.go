//go:build !unix

package render

func cpuSeconds() float64 { return 0 }
