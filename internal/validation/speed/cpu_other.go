//go:build !unix

package main

// cpuSeconds is not known here: tables have wall time only.
func cpuSeconds() float64 { return 0 }
