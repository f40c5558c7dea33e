package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"gonum.org/v1/gonum/mat"
)

// Of the radio maps: a floor as large as those that they are published for.
const (
	radioMapPlaces  = 170
	radioMapRadios  = 6
	radioMapFacings = 8
	radioMapFloor   = -92.0
	fadeDB          = 4.0 // of a place, shared by near ones
	fadeM           = 6.0 // over which the correlation of two falls to 1/e
	bodyDB          = 3.0 // of a facing
)

// radioMapBench judges a walk by leave-one-out: for every place a fit, the
// hyperparameters and the maps of what was walked elsewhere, and a fix of every
// facing.
func radioMapBench() bench {
	return bench{Family: "radio map", What: "leave-one-out radio map",
		Size: fmt.Sprintf("%d places × %d radios × %d facings", radioMapPlaces, radioMapRadios, radioMapFacings), N: radioMapPlaces,
		Refs: []string{"radiomap.py"}, Digits: 8,
		Prepare: func(folder string) (func() ([]float64, error), error) {
			s := hall(radioMapRadios, 0)
			w := surveyed(s)
			if err := writeWalk(folder, s, w); err != nil {
				return nil, err
			}
			o := position.Options{Method: position.RadioMap, Protocol: position.LeaveOneOut, Fix: position.PerFacing,
				Propagation: propagation.Options{Model: propagation.OLS}, Resamples: 100}
			return func() ([]float64, error) {
				e, err := position.Judge(context.Background(), s, []walk.Walk{*w}, o)
				if err != nil {
					return nil, err
				}
				var out []float64
				for i := range e.Judged {
					if !e.Judged[i].Fix.Located {
						return nil, fmt.Errorf("no fix at %s: %s", e.Judged[i].Point, e.Judged[i].Fix.Reason)
					}
					out = append(out, e.Judged[i].Fix.At[0], e.Judged[i].Fix.At[1])
				}
				return append(out, e.Statistics.MeanM), nil
			}, nil
		}}
}

// surveyed is a walk over places of a jittered grid, one scan a facing.
func surveyed(s *site.Site) *walk.Walk {
	rng := rand.New(rand.NewPCG(11, 2))
	w := &walk.Walk{Header: walk.Header{ID: "w"}}
	const columns = 17
	dx, dy := hallW/columns, hallH/(radioMapPlaces/columns)
	for i := range radioMapPlaces {
		// No two are within a metre of each other.
		at := orb.Point{(float64(i%columns) + .3 + .4*rng.Float64()) * dx, (float64(i/columns) + .3 + .4*rng.Float64()) * dy}
		w.Visits = append(w.Visits, walk.Visit{ID: fmt.Sprint(i), Point: fmt.Sprintf("P%03d", i), Floor: s.Floors[0].ID, At: at})
	}
	shadows := make([][]float64, len(s.Radios()))
	for k := range shadows {
		shadows[k] = fades(w.Visits, rng)
	}
	now := time.Date(2024, 3, 1, 9, 0, 0, 0, time.UTC)
	for i := range w.Visits {
		v := &w.Visits[i]
		for f := range radioMapFacings {
			now = now.Add(time.Second)
			sc := walk.Scan{Time: now, FacingDeg: float64(f) * 360 / radioMapFacings}
			for k, r := range s.Radios() {
				y := mapLevel1m - 10*exponent*math.Log10(s.Distance3D(r, 0, v.At)) + shadows[k][i] + bodyDB*rng.NormFloat64()
				if y >= radioMapFloor {
					sc.Readings = append(sc.Readings, radio.Reading{BSSID: s.AccessPoints[r.AP].Radios[r.Radio].BSSIDs[0], FreqMHz: 5180, RSSIDBm: y})
				}
			}
			v.Scans = append(v.Scans, sc)
		}
	}
	return w
}

// fades draws the shadows at places, exponentially correlated (Gudmundson, 1991).
func fades(at []walk.Visit, rng *rand.Rand) []float64 {
	n := len(at)
	c := mat.NewSymDense(n, nil)
	z := mat.NewVecDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			c.SetSym(i, j, fadeDB*fadeDB*math.Exp(-planar.Distance(at[i].At, at[j].At)/fadeM))
		}
		z.SetVec(i, rng.NormFloat64())
	}
	var ch mat.Cholesky
	if !ch.Factorize(c) {
		panic("two places are one")
	}
	var l mat.TriDense
	ch.LTo(&l)
	var out mat.VecDense
	out.MulVec(&l, z)
	return out.RawVector().Data
}

// writeWalk writes places, radios and levels, NaN for one that was not heard.
func writeWalk(folder string, s *site.Site, w *walk.Walk) error {
	var places, radios, levels []float64
	for _, ap := range s.AccessPoints {
		radios = append(radios, ap.At[0], ap.At[1], ap.HeightM-s.ReceiverHeightM)
	}
	stays := walk.Stays(s, []walk.Walk{*w}, walk.ByFacing)
	for i := range stays {
		if i%radioMapFacings == 0 {
			places = append(places, stays[i].At[0], stays[i].At[1])
		}
		for _, l := range stays[i].Levels {
			if l.Heard == 0 {
				l.MeanDBm = math.NaN()
			}
			levels = append(levels, l.MeanDBm)
		}
	}
	for name, v := range map[string][]float64{"places": places, "radios": radios, "levels": levels, "hall": {hallW, hallH, site.MinDistanceM}} {
		if err := write(folder, name, v); err != nil {
			return err
		}
	}
	return nil
}
