package synthetic_test

import (
	"math"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// crowd is the hall with many one-radio or two-radio boxes, so that one seed
// gives many shadowing fields.
func crowd(boxes int) *site.Site {
	s := hall()
	s.AccessPoints = nil
	for i := range boxes {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{
			ID: "A" + string(rune('A'+i/26)) + string(rune('A'+i%26)), Floor: "G", At: orb.Point{float64(i), 50}, HeightM: 3,
			Radios: []site.Radio{
				{Band: radio.Band2, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0x10, byte(i), 0x20}}},
				{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0x10, byte(i), 0x50}}}}})
	}
	return s
}

// Shadowing is normal with the mean 0 and the spread of its radio, correlated
// as exp(−d/l) in every direction, independent between boxes, and common to the
// radios of a box by APShare. Tolerances are four standard errors for as many
// independent fields.
func TestShadowingAgainstTheory(t *testing.T) {
	const boxes, seeds, l, share = 100, 30, 5.0, 0.5
	s := crowd(boxes)
	tr := synthetic.Plain().Truth(s, 1)
	tr.ShadowLengthM, tr.APShare = l, share
	sigma := tr.Radios[1].SigmaDB
	from := orb.Point{37, 61}
	lags := []float64{0, 0.5, 1, 2.5, 5, 10, 20}
	var at0 []float64
	products := make([][]float64, len(lags))
	var bands, neighbours []float64
	for seed := range uint64(seeds) {
		sc, _ := scanner(t, s, tr, seed)
		last := 0.0
		for i := range boxes {
			k := 2*i + 1
			shadow := func(k int, p orb.Point) float64 { return sc.Mean(k, "G", p) - sc.Model(k, "G", p) }
			z := shadow(k, from) / sigma
			at0 = append(at0, z)
			for j, d := range lags {
				sin, cos := math.Sincos(float64(i))
				products[j] = append(products[j], z*shadow(k, orb.Point{from[0] + d*cos, from[1] + d*sin})/sigma)
			}
			bands = append(bands, z*shadow(k-1, from)/tr.Radios[0].SigmaDB)
			neighbours = append(neighbours, z*last)
			last = z
		}
	}
	n := float64(boxes * seeds)
	assert.InDelta(t, 0, stat.Mean(at0, nil), 4/math.Sqrt(n))
	assert.InDelta(t, 0, stat.ExKurtosis(at0, nil), 4*math.Sqrt(24/n))
	assert.InDelta(t, 0, stat.Skew(at0, nil), 4*math.Sqrt(6/n))
	for j, d := range lags {
		rho := math.Exp(-d / l)
		assert.InDelta(t, rho, stat.Mean(products[j], nil), 4*math.Sqrt((1+rho*rho)/n), "correlation over %g m", d)
	}
	assert.InDelta(t, share, stat.Mean(bands, nil), 4*math.Sqrt((1+share*share)/n), "bands of one box")
	assert.InDelta(t, 0, stat.Mean(neighbours, nil), 4/math.Sqrt(n), "boxes")
}

// Over a floor much larger than l, one field by itself has its spread and its
// correlation too.
func TestShadowingOfOneField(t *testing.T) {
	s := hall()
	tr := synthetic.Plain().Truth(s, 1)
	tr.ShadowLengthM = 1
	var spread, near []float64
	for seed := range uint64(10) {
		sc, _ := scanner(t, s, tr, seed)
		var a, b []float64
		for x := 0.5; x < 100; x += 3 {
			for y := 0.5; y < 100; y += 3 {
				p, q := orb.Point{x, y}, orb.Point{x + 0.6, y + 0.8}
				a = append(a, sc.Mean(0, "G", p)-sc.Model(0, "G", p))
				b = append(b, sc.Mean(0, "G", q)-sc.Model(0, "G", q))
			}
		}
		spread = append(spread, stat.StdDev(a, nil))
		near = append(near, stat.Correlation(a, b, nil))
	}
	assert.InDelta(t, tr.Radios[0].SigmaDB, stat.Mean(spread, nil), 0.15)
	assert.InDelta(t, math.Exp(-1), stat.Mean(near, nil), 0.03)
}

// readings gives the levels that n scans report of a BSS, and how many heard it.
func readings(t *testing.T, sc *synthetic.Scanner, b radio.BSSID, n int) []float64 {
	t.Helper()
	var out []float64
	for range n {
		if v, ok := level(scan(t, sc, radio.Request{}), b); ok {
			out = append(out, v)
		}
	}
	return out
}

// Readings average to the mean of the place less the loss in the body, in
// whole decibels, with the spread of the scatter and of the rounding.
func TestBodyLoss(t *testing.T) {
	const n, body = 3000, 8.0
	s := hall()
	tr := quiet(s)
	tr.BodyLossDB, tr.ScatterDB, tr.BSSScatterDB = body, 2, 1.5
	tr.Radios[0].SigmaDB = 4
	sc, _ := scanner(t, s, tr, 1)
	b := s.AccessPoints[0].Radios[0].BSSIDs[0]
	at := orb.Point{50, 46} // the AP is 4 m up the plan and 3 m up: e = 4/5
	sd := math.Sqrt(4 + 1.5*1.5 + 1.0/12)
	for _, tt := range []struct {
		facing, share float64
		at            orb.Point
	}{
		{0, 0, at}, {90, 0.25, at}, {270, 0.25, at}, {180, 1, at}, {60, 1.0 / 16, at}, {120, 9.0 / 16, at},
		{-1, 3.0 / 8, at}, {180, 0, orb.Point{50, 50}},
	} {
		sc.Place("G", tt.at, tt.facing)
		v := readings(t, sc, b, n)
		require.Equal(t, n, len(v))
		assert.Equal(t, math.Round(v[0]), v[0])
		want := sc.Mean(0, "G", tt.at) - 0.8*body*tt.share
		assert.InDelta(t, want, stat.Mean(v, nil), 4*sd/math.Sqrt(n), "facing %g", tt.facing)
		assert.InDelta(t, sd, stat.StdDev(v, nil), 4*sd/math.Sqrt(2*n), "facing %g", tt.facing)
	}
}

// The two BSSs of a radio share its scatter and each adds its own.
func TestScatterOfBSSs(t *testing.T) {
	const n = 4000
	s := hall()
	tr := quiet(s)
	tr.ScatterDB, tr.BSSScatterDB = 3, 1.5
	sc, _ := scanner(t, s, tr, 1)
	sc.Place("G", orb.Point{40, 40}, -1)
	var a, b []float64
	for range n {
		sw := scan(t, sc, radio.Request{})
		a, b = append(a, sw.Heard[0].RSSIDBm), append(b, sw.Heard[1].RSSIDBm)
	}
	rho := 9 / (9 + 1.5*1.5 + 1.0/12)
	assert.InDelta(t, rho, stat.Correlation(a, b, nil), 4*(1-rho*rho)/math.Sqrt(n))
	var x, y []float64 // scan to scan nothing is shared
	for i := 1; i < n; i++ {
		x, y = append(x, a[i-1]), append(y, a[i])
	}
	assert.InDelta(t, 0, stat.Correlation(x, y, nil), 4/math.Sqrt(n))
}

// Silence: MissRate of the scans of a strong radio, and
// p0 + (1 − p0) Φ((c − mu)/σ) of a weak one.
func TestShareOfMissedScans(t *testing.T) {
	const n, p0 = 5000, 0.15
	s := hall()
	tr := quiet(s)
	tr.ScatterDB, tr.BSSScatterDB, tr.FloorSoftDB = 2, 1, 2
	tr.Radios[0].MissRate = p0
	b := s.AccessPoints[0].Radios[0].BSSIDs[0]
	at := orb.Point{30, 30}
	for _, above := range []float64{30, 3, 0, -3, -30} {
		sc, _ := scanner(t, s, tr, 9)
		tr.FloorDBm[radio.Band5] = sc.Mean(0, "G", at) - above
		sc, _ = scanner(t, s, tr, 9)
		sc.Place("G", at, -1)
		heard := readings(t, sc, b, n)
		p := (1 - p0) * distuv.UnitNormal.CDF(above/3)
		assert.InDelta(t, p, float64(len(heard))/n, 4*math.Sqrt(p*(1-p)/n)+1e-12, "%g dB above the floor", above)
	}
}

// A drift is stationary with its spread and the correlation exp(−Δt/τ).
func TestDrift(t *testing.T) {
	const n = 4000
	s := hall()
	tr := quiet(s)
	tr.DriftDB, tr.APDriftDB, tr.DriftTime = 3, 4, 10*time.Minute
	tr.FloorDBm[radio.Band5] = -120
	tr.SweepMin, tr.SweepMax = 5*time.Minute, 5*time.Minute
	sc, _ := scanner(t, s, tr, 1)
	sc.Place("G", orb.Point{40, 40}, -1)
	v := readings(t, sc, s.AccessPoints[0].Radios[0].BSSIDs[0], n)
	require.Equal(t, n, len(v))
	rho := math.Exp(-0.5)
	slow := (1 + rho) / (1 - rho) // how many scans are worth one
	assert.InDelta(t, sc.Mean(0, "G", orb.Point{40, 40}), stat.Mean(v, nil), 4*5*math.Sqrt(slow/n))
	assert.InDelta(t, 25+1.0/12, stat.Variance(v, nil), 4*25*math.Sqrt(2*slow/n))
	assert.InDelta(t, rho, stat.Correlation(v[1:], v[:n-1], nil), 4*math.Sqrt((1-rho*rho)/n)+0.005)
}

// Plain least squares on readings of the demo site, with independent shadowing
// and nothing unheard, gives back exponent, wall losses and levels: each within
// three standard errors, and the standard errors are those that they should be.
func TestTruthRecoveredByLeastSquares(t *testing.T) {
	s := synthetic.DemoSite()
	s.Floors[0].Points = nil
	walls := site.NewWallIndex(s)
	var places []orb.Point
	for x := 0.7; x < 46; x += 1.9 {
		for y := 0.6; y < 30; y += 1.9 {
			if p := (orb.Point{x, y}); s.Floors[0].Walkable(p) {
				places = append(places, p)
			}
		}
	}
	var z []float64
	for seed := range uint64(4) {
		tr := synthetic.Plain().Truth(s, seed)
		tr.ShadowLengthM = 0.01
		for b := range tr.FloorDBm {
			tr.FloorDBm[b] = -300
		}
		sc, _ := scanner(t, s, tr, seed)
		heard := make(map[radio.BSSID][]float64)
		for _, p := range places {
			sc.Place("G", p, -1)
			for _, h := range scan(t, sc, radio.Request{}).Heard {
				heard[h.BSSID] = append(heard[h.BSSID], h.RSSIDBm)
			}
		}
		for band := range 2 { // the radios of each band, all at once
			aps := len(s.AccessPoints)
			rows, cols := aps*len(places), 3+aps
			x, y := mat.NewDense(rows, cols, nil), mat.NewVecDense(rows, nil)
			for a := range aps {
				v := heard[s.AccessPoints[a].Radios[band].BSSIDs[0]]
				require.Equal(t, len(places), len(v))
				for i, p := range places {
					row := a*len(places) + i
					crossed := make([]float64, 2)
					walls.Count(0, s.AccessPoints[a].At, p, crossed)
					x.Set(row, 0, -10*math.Log10(s.Distance3D(site.RadioRef{AP: a, Radio: band}, 0, p)))
					x.Set(row, 1, -crossed[0])
					x.Set(row, 2, -crossed[1])
					x.Set(row, 3+a, 1)
					y.SetVec(row, v[i])
				}
			}
			r := tr.Radios[band]
			want := []float64{r.Exponent, tr.Walls[synthetic.Wall{Material: "plasterboard", Band: r.Band}], tr.Walls[synthetic.Wall{Material: "brick", Band: r.Band}]}
			for a := range aps {
				want = append(want, tr.Radios[2*a+band].Level1mDBm)
			}
			est, se, sigma := leastSquares(t, x, y)
			for j := range want {
				assert.InDelta(t, want[j], est[j], 3*se[j], "seed %d, band %s, coefficient %d", seed, r.Band, j)
				z = append(z, (est[j]-want[j])/se[j])
			}
			theory := math.Sqrt(r.SigmaDB*r.SigmaDB + tr.ScatterDB*tr.ScatterDB + 1.0/12)
			assert.InDelta(t, theory, sigma, 4*theory/math.Sqrt(2*float64(rows)))
		}
	}
	assert.InDelta(t, 1, stat.StdDev(z, nil), 0.3, "spread of the standardised errors")
}

func leastSquares(t *testing.T, x *mat.Dense, y *mat.VecDense) (est, se []float64, sigma float64) {
	t.Helper()
	rows, cols := x.Dims()
	var xtx mat.SymDense
	xtx.SymOuterK(1, x.T())
	var chol mat.Cholesky
	require.True(t, chol.Factorize(&xtx))
	var xty, beta, fit mat.VecDense
	xty.MulVec(x.T(), y)
	require.NoError(t, chol.SolveVecTo(&beta, &xty))
	fit.MulVec(x, &beta)
	fit.SubVec(y, &fit)
	sigma = mat.Norm(&fit, 2) / math.Sqrt(float64(rows-cols))
	var inv mat.SymDense
	require.NoError(t, chol.InverseTo(&inv))
	for j := range cols {
		est, se = append(est, beta.AtVec(j)), append(se, sigma*math.Sqrt(inv.At(j, j)))
	}
	return est, se, sigma
}

// The walls of a storey meet the part of the line that runs in it, and every
// slab between costs one floor loss.
func TestStoreys(t *testing.T) {
	wall := func(m string, x float64) site.Wall {
		return site.Wall{Material: m, Line: orb.LineString{{x, 0}, {x, 10}}}
	}
	box := orb.Ring{{0, 0}, {20, 0}, {20, 10}, {0, 10}}
	s := &site.Site{Name: "Stack", ReceiverHeightM: 1,
		Floors: []site.Floor{
			{ID: "1", Outline: box, ElevationM: 3, Walls: []site.Wall{wall("wood", 3), wall("wood", 7.5), wall("wood", 9.5)}},
			{ID: "0", Outline: box, ElevationM: 0, Walls: []site.Wall{wall("stone", 2), wall("stone", 8)}},
			{ID: "2", Outline: box, ElevationM: 6, Walls: []site.Wall{wall("glass", 6.5), wall("glass", 9.5)}},
		},
		AccessPoints: []site.AccessPoint{
			{ID: "low", Floor: "0", At: orb.Point{0, 5}, HeightM: 2, Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 1}}}}},
			{ID: "high", Floor: "2", At: orb.Point{0, 5}, HeightM: 2, Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 2}}}}},
		},
	}
	tr := quiet(s)
	tr.FloorLossDB[radio.Band5] = 100
	for i, m := range []string{"wood", "stone", "glass"} {
		tr.Walls[synthetic.Wall{Material: m, Band: radio.Band5}] = math.Pow(10, float64(3+i)) // readable as digits
	}
	sc, _ := scanner(t, s, tr, 1)
	loss := func(k int, floor string, x, dz float64) float64 {
		return -40 - 30*math.Log10(math.Hypot(x, dz)) - sc.Model(k, floor, orb.Point{x, 5})
	}
	// From 2 m up to 4 m: the slab at 3 m is met half-way, at x = 5.
	assert.InDelta(t, 100+2*1e3+1e4, loss(0, "1", 10, 2), 1e-6)
	// From 2 m up to 7 m: slabs at x = 2 and 8; on x = 2 a wall of stone ends the stretch.
	assert.InDelta(t, 2*100+2*1e3+1e5, loss(0, "2", 10, 5), 1e-6)
	// From 8 m down to 1 m: slabs at x = 20/7 and 50/7; wood at 3 m, stone at 8 m.
	assert.InDelta(t, 2*100+1e3+1e4, loss(1, "0", 10, 7), 1e-6)
	// On one floor, all the walls between: stone at 2 and 8 m.
	assert.InDelta(t, 2*1e4, loss(0, "0", 10, 1), 1e-6)
}
