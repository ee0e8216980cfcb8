//go:build unix

package main

import "syscall"

// cpuSeconds is the processor time this process has used, which other processes disturb less than the clock.
func cpuSeconds() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) * 1e-9
}
