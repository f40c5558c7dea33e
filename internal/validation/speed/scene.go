package main

import (
	"fmt"
	"math"
	"math/rand/v2"

	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// What the invented hall is made of.
const (
	hallW, hallH    = 80.0, 50.0
	receiverHeightM = 1.2
	ceilingM        = 3.2
	exponent        = 3.1
	lightDB         = 3.0
	heavyDB         = 9.0
	shadowDB        = 5.0
)

// hall is an invented floor with rooms and one band.
func hall(aps, walls int) *site.Site {
	rng := rand.New(rand.NewPCG(9, 9))
	s := &site.Site{Name: "Hall", ReceiverHeightM: receiverHeightM, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {hallW, 0}, {hallW, hallH}, {0, hallH}}}}}
	for i := range walls {
		p := orb.Point{1 + math.Floor((hallW-7)*rng.Float64()), 1 + math.Floor((hallH-7)*rng.Float64())}
		q := orb.Point{p[0] + 5, p[1]}
		if rng.IntN(2) == 0 {
			q = orb.Point{p[0], p[1] + 5}
		}
		s.Floors[0].Walls = append(s.Floors[0].Walls, site.Wall{Material: []string{"plasterboard", "concrete"}[i%2], Line: orb.LineString{p, q}})
	}
	for i := range aps {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%02d", i+1), Floor: "G", HeightM: ceilingM,
			At:     orb.Point{hallW * rng.Float64(), hallH * rng.Float64()},
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0, 0, 0, byte(i + 1)}}}}})
	}
	return s
}

// Sizes of the fits: rows are pairs of stay and radio.
const (
	fitAPs    = 20
	fitWalls  = 60
	fitPlaces = 500
)

// stays are single scans at fitPlaces places, as many as give so many rows;
// a level below floorDBm is not heard.
func stays(s *site.Site, rows int, floorDBm float64) *propagation.Data {
	rng := rand.New(rand.NewPCG(uint64(rows), 4))
	aps := len(s.AccessPoints)
	n := rows / aps
	places := min(fitPlaces, n)
	level := make([]float64, aps)
	for k := range level {
		level[k] = -36 + 2*rng.NormFloat64()
	}
	var all []walk.Stay
	for p := range places {
		at := orb.Point{hallW * rng.Float64(), hallH * rng.Float64()}
		for i := p * n / places; i < (p+1)*n/places; i++ {
			all = append(all, walk.Stay{Walk: "w", Visit: fmt.Sprint(i), Point: fmt.Sprintf("P%03d", p), At: at, Scans: 1, FacingDeg: walk.NoFacing, Levels: make([]walk.Level, aps)})
		}
	}
	d := propagation.Observe(s, all)
	for at := range d.Levels {
		k := at % aps
		mu := level[k] - 10*exponent*math.Log10(d.DistanceM[at])
		for j, m := range d.Materials {
			db := lightDB
			if m == "concrete" {
				db = heavyDB
			}
			mu -= db * d.Crossings[at*len(d.Materials)+j]
		}
		if y := mu + shadowDB*rng.NormFloat64(); y >= floorDBm {
			d.Levels[at] = walk.Level{Heard: 1, MeanDBm: y, MinDBm: y}
		}
	}
	return d
}

// writeDesign writes levels and design of data as references want them: for
// every row 1 for its radio, −10 log10 d and minus the crossings of each
// material, column by column; a level that was not heard is the floor.
func writeDesign(folder string, d *propagation.Data, floorDBm float64) error {
	n, w := len(d.Levels), len(d.Materials)
	x := make([]float64, n*(d.Radios+1+w))
	y, heard := make([]float64, n), make([]float64, n)
	for i := range n {
		x[(i%d.Radios)*n+i] = 1
		x[d.Radios*n+i] = -10 * math.Log10(d.DistanceM[i])
		for j := range w {
			x[(d.Radios+1+j)*n+i] = -d.Crossings[i*w+j]
		}
		if y[i] = floorDBm; d.Levels[i].Heard > 0 {
			y[i], heard[i] = d.Levels[i].MeanDBm, 1
		}
	}
	for name, v := range map[string][]float64{"x": x, "y": y, "heard": heard} {
		if err := write(folder, name, v); err != nil {
			return err
		}
	}
	return nil
}

// parameters are those of a fit of one band in the order of the design, then σ.
func parameters(f *propagation.Fit) []float64 {
	var out []float64
	for _, r := range f.Radios {
		out = append(out, r.Level1m.Est)
	}
	out = append(out, f.Groups[0].Exponent.Est)
	for _, w := range f.Walls {
		out = append(out, w.LossDB.Est)
	}
	return append(out, f.Groups[0].SigmaDB.Est)
}
