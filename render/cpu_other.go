//go:build !unix

package render

// cpuSeconds is 0: this system is not asked.
func cpuSeconds() float64 { return 0 }
