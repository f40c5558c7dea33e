//go:build unix

package main

import "syscall"

// cpuSeconds is the processor time of this process so far, all threads together.
func cpuSeconds() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	s := func(t syscall.Timeval) float64 { return float64(t.Sec) + float64(t.Usec)/1e6 }
	return s(u.Utime) + s(u.Stime)
}
