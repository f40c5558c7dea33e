package main

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"sync"

	"footrule/internal/kriging"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/floats"
)

// Of the kriged maps.
const (
	krigePlaces = 170
	krigeRadios = 6
	krigeCells  = 4000 // of a metre each
	krigeLength = 6.0
	krigeRatio  = 0.4
	krigePick   = 97
)

// krigeBench is the maps of leave-one-out: all radios, each place left out of the
// residuals of a fit of its own.
func krigeBench() bench {
	return bench{Family: "kriged", What: "kriged maps, each place left out", Size: fmt.Sprintf("%d places × %d radios × %d cells", krigePlaces, krigeRadios, krigeCells), N: krigePlaces,
		Refs: []string{"kriging.py"}, Digits: 8,
		Prepare: func(folder string) (func() ([]float64, error), error) {
			rng := rand.New(rand.NewPCG(11, 2))
			l := kriging.Layout{At: make([]orb.Point, krigePlaces), Noise: make([]float64, krigePlaces)}
			var at, cells, residuals []float64
			for i := range l.At {
				l.At[i], l.Noise[i] = orb.Point{hallW * rng.Float64(), hallH * rng.Float64()}, 1
				at = append(at, l.At[i][0], l.At[i][1])
			}
			var on []orb.Point
			for i := range krigeCells {
				on = append(on, orb.Point{float64(i%int(hallW)) + .5, float64(i/int(hallW)) + .5})
				cells = append(cells, on[i][0], on[i][1])
			}
			for range krigeRadios * krigePlaces * krigePlaces {
				residuals = append(residuals, shadowDB*rng.NormFloat64())
			}
			for name, v := range map[string][]float64{"at": at, "cells": cells, "residuals": residuals, "kernel": {krigeLength, krigeRatio}} {
				if err := write(folder, name, v); err != nil {
					return nil, err
				}
			}
			return func() ([]float64, error) {
				s, err := kriging.NewSystem(l, krigeLength, krigeRatio)
				if err != nil {
					return nil, err
				}
				return krigeAll(s, s.Onto(on), residuals), nil
			}, nil
		}}
}

// krigeAll sums the maps of all radios and places.
func krigeAll(s *kriging.System, m *kriging.Map, residuals []float64) []float64 {
	out := make([]float64, krigeRadios*krigePlaces)
	var wg sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		wg.Go(func() {
			z := make([]float64, krigePlaces)
			mean, variance := make([]float64, krigeCells), make([]float64, krigeCells)
			for k := range krigeRadios {
				for i := w; i < krigePlaces; i += workers {
					y := residuals[(k*krigePlaces+i)*krigePlaces:][:krigePlaces]
					s.Solve(y, z)
					m.Without(y, z, s.Block([]int{i}), mean, variance)
					sum := floats.Sum(mean) + floats.Sum(variance)
					for j := 0; j < krigeCells; j += krigePick {
						sum += mean[j]
					}
					out[k*krigePlaces+i] = sum
				}
			}
		})
	}
	wg.Wait()
	return out
}
