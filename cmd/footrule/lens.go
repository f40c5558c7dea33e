package main

import (
	"fmt"
	"math"
	"slices"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/walk"
	"footrule/tui"
)

// curves lines up what every radio of a fit was heard at with its distance.
func curves(d *propagation.Data, fit *propagation.Fit) []tui.Curve {
	var out []tui.Curve
	for k := range fit.Radios {
		r := &fit.Radios[k]
		g := fit.Group(k)
		if g == nil {
			continue
		}
		c := tui.Curve{AP: r.Ref.AP, Band: r.Band, Level1m: estimate(r.Level1m), Exponent: estimate(r.Exponent), SigmaDB: g.SigmaDB.Est, Points: r.Points, Silent: r.Silent}
		for i := range d.Stays() {
			at := i*d.Radios + k
			if d.Levels[at].Heard == 0 {
				continue
			}
			// What the fit takes off on the way besides the distance.
			straight := r.Level1m.Est - 10*r.Exponent.Est*math.Log10(d.DistanceM[at])
			c.DistanceM = append(c.DistanceM, d.DistanceM[at])
			c.LevelDBm = append(c.LevelDBm, d.Levels[at].MeanDBm)
			c.WallsDB = append(c.WallsDB, straight-fit.Level(k, d.Floor[i], d.At[i]))
		}
		out = append(out, c)
	}
	return out
}

// judgedPlaces sums up the fixes of every place, and lists the errors of all.
func judgedPlaces(e *position.Errors) (places []tui.Judged, errorsM []float64) {
	at := map[walk.Place]int{}
	n := []int{}
	for i := range e.Judged {
		j := &e.Judged[i]
		k, ok := at[j.Place]
		if !ok {
			k = len(places)
			at[j.Place] = k
			places = append(places, tui.Judged{Point: j.Point, Floor: j.Floor, At: j.At, ErrorM: math.NaN(), BoundM: j.BoundM})
			n = append(n, 0)
		}
		p := &places[k]
		if !j.Fix.Located {
			if n[k] == 0 {
				p.Why = j.Fix.Reason
			}
			continue
		}
		errorsM = append(errorsM, j.ErrorM)
		if n[k]++; n[k] == 1 {
			p.Fix, p.ErrorM, p.Why = j.Fix.At, j.ErrorM, ""
		} else {
			f := 1 / float64(n[k])
			p.Fix[0] += f * (j.Fix.At[0] - p.Fix[0])
			p.Fix[1] += f * (j.Fix.At[1] - p.Fix[1])
			p.ErrorM += f * (j.ErrorM - p.ErrorM)
		}
		if j.Fix.Heard < 4 {
			p.Why = fmt.Sprintf("%d heard", j.Fix.Heard)
		}
	}
	slices.Sort(errorsM)
	return places, errorsM
}
