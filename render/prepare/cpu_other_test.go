//go:build !unix

package prepare

func cpuSeconds() float64 { return 0 }
