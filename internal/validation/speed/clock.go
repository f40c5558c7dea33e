package main

import (
	"math"
	"runtime"
	"time"
)

// took is the least that one of several runs took, in seconds.
type took struct {
	Wall, CPU float64
}

// leastRun is how long one timing lasts at least: short work is repeated within.
const leastRun = 0.1

// clock runs work once unseen and then several timings of it on so many
// processors; it gives the result of the last run.
func clock(work func() ([]float64, error), processors, timings int) (took, []float64, error) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
	best := took{math.Inf(1), math.Inf(1)}
	start := time.Now()
	out, err := work()
	if err != nil {
		return best, nil, err
	}
	n := max(1, int(math.Ceil(leastRun/max(time.Since(start).Seconds(), 1e-6))))
	for range timings {
		runtime.GC()
		start, cpu := time.Now(), cpuSeconds()
		for range n {
			if out, err = work(); err != nil {
				return best, nil, err
			}
		}
		best.Wall = min(best.Wall, time.Since(start).Seconds()/float64(n))
		best.CPU = min(best.CPU, (cpuSeconds()-cpu)/float64(n))
	}
	return best, out, nil
}

// digits is to how many decimal digits two lists agree at least: of a value, or
// of 1 where the value is smaller. NaN agrees with NaN alone.
func digits(got, want []float64) float64 {
	if len(got) != len(want) || len(got) == 0 {
		return 0
	}
	worst := 0.0
	for i, w := range want {
		if math.IsNaN(w) != math.IsNaN(got[i]) {
			return 0
		}
		if !math.IsNaN(w) {
			worst = max(worst, math.Abs(got[i]-w)/max(math.Abs(w), 1))
		}
	}
	return min(15, -math.Log10(worst))
}

// growth is the exponent of time over size, by least squares of the logarithms.
func growth(size, seconds []float64) float64 {
	n := float64(len(size))
	var sx, sy, sxx, sxy float64
	for i := range size {
		x, y := math.Log(size[i]), math.Log(seconds[i])
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	return (sxy - sx*sy/n) / (sxx - sx*sx/n)
}
