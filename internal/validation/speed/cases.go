package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"footrule/internal/position"
	"footrule/internal/propagation"
)

// bench is one computation of one size.
type bench struct {
	Family string  // what grows together
	What   string  // what is computed
	Size   string  // in words
	N      float64 // what time grows with
	Refs   []string
	Digits float64 // to which both must agree; 0 where chance parts them by Within
	Within float64 // relative difference, where Digits is 0

	// Prepare writes what the references read and returns our own computation of
	// the same.
	Prepare func(folder string) (func() ([]float64, error), error)
}

// benches lists all of them; quick leaves out the large.
func benches(quick bool) []bench {
	var out []bench
	for _, rows := range []int{10_000, 100_000, 1_000_000} {
		if quick && rows > 100_000 {
			continue
		}
		out = append(out, fitBench("least squares", propagation.OLS, rows, []string{"ols.R", "ols.py", "ols_normal.py"}, 10))
	}
	for _, rows := range []int{10_000, 100_000, 1_000_000} {
		if quick && rows > 100_000 {
			continue
		}
		refs := []string{"censored.R", "censored.py"}
		if rows > 100_000 {
			refs = nil
		}
		out = append(out, fitBench("censored", propagation.Censored, rows, refs, 6))
	}
	out = append(out, mapBench(0), mapBench(100), radioMapBench(), bcaBench())
	return out
}

// censorDBm hides a third of the levels.
const censorDBm = -85.0

func fitBench(what string, m propagation.Model, rows int, refs []string, digits float64) bench {
	return bench{Family: what, What: what + " fit", Size: fmt.Sprintf("%d rows", rows), N: float64(rows), Refs: refs, Digits: digits,
		Prepare: func(folder string) (func() ([]float64, error), error) {
			floor := math.Inf(-1)
			o := propagation.Options{Model: m}
			if m == propagation.Censored {
				floor = censorDBm
				o.FloorDBm = &floor
			}
			d := stays(hall(fitAPs, fitWalls), rows, floor)
			if len(refs) > 0 {
				if err := writeDesign(folder, d, floor); err != nil {
					return nil, err
				}
			}
			return func() ([]float64, error) {
				f, err := propagation.EstimateFrom(d, o, nil)
				if err != nil {
					return nil, err
				}
				return parameters(f), nil
			}, nil
		}}
}

// Of the bootstrap.
const (
	bcaPlaces    = 170
	bcaResamples = 2000
	bcaQuantile  = 0.95
)

func bcaBench() bench {
	return bench{Family: "bootstrap", What: "BCa interval of a 95 % quantile", Size: fmt.Sprintf("%d places, %d resamples", bcaPlaces, bcaResamples), N: bcaPlaces,
		Refs: []string{"bca.R", "bca.py"}, Within: 0.05,
		Prepare: func(folder string) (func() ([]float64, error), error) {
			rng := rand.New(rand.NewPCG(5, 5))
			errors := make([]float64, bcaPlaces)
			for i := range errors {
				errors[i] = 3 * math.Hypot(rng.NormFloat64(), rng.NormFloat64())
			}
			if err := write(folder, "errors", errors); err != nil {
				return nil, err
			}
			if err := write(folder, "resamples", []float64{bcaResamples}); err != nil {
				return nil, err
			}
			sorted := slices.Sorted(slices.Values(errors))
			return func() ([]float64, error) {
				sample := make([]float64, 0, bcaPlaces)
				ci := position.BCa(bcaPlaces, func(times []int) float64 {
					sample = sample[:0]
					for i, t := range times {
						for range t {
							sample = append(sample, sorted[i])
						}
					}
					return position.Quantile(sample, bcaQuantile)
				}, bcaResamples, 0.95, 1)
				return []float64{ci.Lo, ci.Hi}, nil
			}, nil
		}}
}
