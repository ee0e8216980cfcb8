//go:build !unix

package raster_test

func cpuSeconds() float64 { return 0 }
