package main

import (
	"context"
	"fmt"
	"math"

	"footrule/internal/coverage"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/site"

	"gonum.org/v1/gonum/stat/distuv"
)

// Of the map.
const (
	mapCellM   = 0.2
	mapAPs     = 60
	mapFloor   = -90.0
	mapNever   = 0.01
	mapLevel1m = -40.0
	mapPick    = 997 // every so many cells' values are compared, and the means of all
)

// mapBench is levels, what is heard, bound and expected error of 100,000 cells.
func mapBench(walls int) bench {
	what := "bound map, no walls"
	if walls > 0 {
		what = fmt.Sprintf("bound map, %d walls", walls)
	}
	return bench{Family: what, What: what, Size: fmt.Sprintf("100000 cells × %d radios", mapAPs), N: 100_000, Refs: []string{"boundmap.py"}, Digits: 5,
		Prepare: func(folder string) (func() ([]float64, error), error) {
			s := hall(mapAPs, walls)
			f, err := mapFit(s)
			if err != nil {
				return nil, err
			}
			ours := func() (*coverage.Map, *coverage.Accuracy, error) {
				m, err := coverage.Predict(context.Background(), s, f, coverage.Options{CellM: mapCellM, Scans: 1})
				if err != nil {
					return nil, nil, err
				}
				return m, m.Accuracy(&m.Floors[0]), nil
			}
			m, _, err := ours()
			if err != nil {
				return nil, err
			}
			if err := writeMap(folder, m); err != nil {
				return nil, err
			}
			return func() ([]float64, error) {
				m, a, err := ours()
				if err != nil {
					return nil, err
				}
				return mapFigures(&m.Floors[0], a), nil
			}, nil
		}}
}

// mapFit assumes a model of one band.
func mapFit(s *site.Site) (*propagation.Fit, error) {
	n := propagation.Value{Est: exponent}
	never := mapNever
	radios := make([]propagation.RadioFit, len(s.Radios()))
	for k := range radios {
		radios[k] = propagation.RadioFit{InFit: true, Level1m: propagation.Value{Est: mapLevel1m}, StayMiss: never}
	}
	var walls []propagation.WallLoss
	for m, db := range map[string]float64{"plasterboard": lightDB, "concrete": heavyDB} {
		walls = append(walls, propagation.WallLoss{Material: m, Band: radio.Band5, LossDB: propagation.Value{Est: db}})
	}
	return propagation.Assume(s, propagation.Options{Model: propagation.Censored},
		[]propagation.Group{{Band: radio.Band5, Exponent: n, SigmaDB: propagation.Value{Est: shadowDB}, ShadowDB: shadowDB, FloorDBm: mapFloor}}, radios, walls)
}

// writeMap writes cells, radios, walls and the model.
func writeMap(folder string, m *coverage.Map) error {
	fm := &m.Floors[0]
	var cells, radios, walls []float64
	for _, p := range fm.At {
		cells = append(cells, p[0], p[1])
	}
	for _, ap := range m.Site.AccessPoints {
		radios = append(radios, ap.At[0], ap.At[1], ap.HeightM-m.Site.ReceiverHeightM, mapLevel1m)
	}
	for _, w := range m.Site.Floors[0].Walls {
		db := lightDB
		if w.Material == "concrete" {
			db = heavyDB
		}
		walls = append(walls, w.Line[0][0], w.Line[0][1], w.Line[1][0], w.Line[1][1], db)
	}
	o := m.Options
	model := []float64{exponent, shadowDB, mapFloor, mapNever, o.ThresholdDBm, o.ThresholdDBm + shadowDB*distuv.UnitNormal.Quantile(o.Confidence),
		site.MinDistanceM, math.Hypot(hallW, hallH), fm.Lattice.DX, fm.Lattice.DY}
	for name, v := range map[string][]float64{"cells": cells, "areas": fm.AreaM2, "radios": radios, "walls": walls, "model": model} {
		if err := write(folder, name, v); err != nil {
			return err
		}
	}
	return nil
}

// mapFigures are every mapPick-th cell's numbers and the means of all.
func mapFigures(fm *coverage.FloorMap, a *coverage.Accuracy) []float64 {
	var heard, atLeast, bound, expected []float64
	var sum, n, all float64
	for i := range fm.Len() {
		if !math.IsNaN(a.BoundM[i]) {
			sum += a.BoundM[i]
			n++
		}
		all += a.ErrorM[i]
		if i%mapPick == 0 {
			heard, atLeast = append(heard, float64(fm.Heard[i])), append(atLeast, fm.AtLeast[2][i])
			bound, expected = append(bound, a.BoundM[i]), append(expected, a.ErrorM[i])
		}
	}
	out := append(append(append(heard, atLeast...), bound...), expected...)
	return append(out, sum/n, all/float64(fm.Len()))
}
