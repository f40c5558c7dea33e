package position_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/mat"
)

// shadowed is a simulated hall whose shadowing is one Gaussian field a radio,
// exponentially correlated over rangeM: places near each other share it. Access
// points at 3 m on a jittered grid, n = 3, body 2 dB by facing, scatter 2 dB.
type shadowed struct {
	width, depth float64
	aps, points  int
	sigmaDB      float64 // of the field
	rangeM       float64
	facings      int
	scans        int // per facing
}

func (v shadowed) walk(seed uint64) (*site.Site, walk.Walk) {
	rng := rand.New(rand.NewPCG(seed, 77))
	spread := func(n int) []orb.Point {
		return jittered(rng, n, int(math.Round(aside(n, v.width, v.depth))), v.width, v.depth)
	}
	s := &site.Site{Name: "shadowed", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: box(0, 0, v.width, v.depth)}}}
	for i, at := range spread(v.aps) {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%02d", i+1), Floor: "G", At: at, HeightM: 3,
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0, 0, 2, byte(i + 1)}}}}})
	}
	at := spread(v.points)
	cov := mat.NewSymDense(v.points, nil)
	for i := range at {
		for j := range i + 1 {
			cov.SetSym(i, j, v.sigmaDB*v.sigmaDB*math.Exp(-math.Hypot(at[i][0]-at[j][0], at[i][1]-at[j][1])/v.rangeM))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		panic("position: two points in one place")
	}
	var root mat.TriDense
	chol.LTo(&root)
	shadow := make([][]float64, v.aps)
	for k := range shadow {
		z := mat.NewVecDense(v.points, nil)
		for i := range v.points {
			z.SetVec(i, rng.NormFloat64())
		}
		var x mat.VecDense
		x.MulVec(&root, z)
		shadow[k] = x.RawVector().Data
	}
	w := walk.Walk{Header: walk.Header{ID: "W1"}}
	now := time.Date(2024, 3, 1, 9, 0, 0, 0, time.UTC)
	for i, p := range at {
		vi := walk.Visit{ID: fmt.Sprintf("V%03d", i), Point: fmt.Sprintf("P%03d", i), Floor: "G", At: p}
		for f := range v.facings {
			body := make([]float64, v.aps)
			for k := range body {
				body[k] = 2 * rng.NormFloat64()
			}
			for range v.scans {
				now = now.Add(3 * time.Second)
				sc := walk.Scan{Time: now, FacingDeg: float64(f) * 360 / float64(v.facings)}
				for k, r := range s.Radios() {
					l := math.Round(-40 - 30*math.Log10(s.Distance3D(r, 0, p)) + shadow[k][i] + body[k] + 2*rng.NormFloat64())
					if l >= -88 && rng.Float64() >= .1 {
						sc.Readings = append(sc.Readings, radio.Reading{BSSID: radio.BSSID{2, 0, 0, 0, 2, byte(k + 1)}, FreqMHz: 5180, RSSIDBm: l})
					}
				}
				vi.Scans = append(vi.Scans, sc)
			}
		}
		w.Visits = append(w.Visits, vi)
	}
	return s, w
}
