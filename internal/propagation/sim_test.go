package propagation_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/mat"
)

// hall is a simulated site with known truth: one room, APs on a jittered grid,
// points on another, exponential spatial correlation of the shadowing.
type hall struct {
	width, depth float64
	aps, points  int
	scans        int
	n, level1m   float64
	levelSD      float64 // between radios
	exponentSD   float64 // between radios
	shadow       float64
	scatter      float64
	corrM        float64 // correlation length, 0 for none
	missScan     float64
	missStay     float64
	floor        float64
	loss         float64   // of a wall down the middle and across, 0 for none
	exponents    []float64 // where it is not nil, those of the radios are put here
	facings      int       // stays at every point, sharing 70 % of the shadow's variance; 0 for 1
}

func bigHall() hall {
	return hall{width: 90, depth: 60, aps: 12, points: 70, scans: 8, n: 3.3, level1m: -36, levelSD: 2, shadow: 5, scatter: 2.5, floor: -88}
}

func grid(rng *rand.Rand, n int, w, d float64) []orb.Point {
	cols := int(math.Ceil(math.Sqrt(float64(n) * w / d)))
	rows := (n + cols - 1) / cols
	var out []orb.Point
	for i := range n {
		c, r := i%cols, i/cols
		out = append(out, orb.Point{(float64(c) + 0.2 + 0.6*rng.Float64()) * w / float64(cols), (float64(r) + 0.2 + 0.6*rng.Float64()) * d / float64(rows)})
	}
	return out
}

func (h hall) simulate(seed uint64) (*site.Site, []walk.Stay) {
	rng := rand.New(rand.NewPCG(seed, 77))
	s := &site.Site{Name: "simulated hall", ReceiverHeightM: 1.2, Floors: []site.Floor{{
		ID: "H", Outline: orb.Ring{{0, 0}, {h.width, 0}, {h.width, h.depth}, {0, h.depth}},
	}}}
	if h.loss > 0 {
		s.Floors[0].Walls = []site.Wall{
			{Material: "block", Line: orb.LineString{{h.width * 0.37, 0}, {h.width * 0.37, h.depth}}},
			{Material: "block", Line: orb.LineString{{0, h.depth * 0.61}, {h.width, h.depth * 0.61}}},
		}
	}
	for i, at := range grid(rng, h.aps, h.width, h.depth) {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%02d", i+1), Floor: "H", At: at, HeightM: 3.2,
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0, 0, 0, byte(i + 1)}}}}})
	}
	pts := grid(rng, h.points, h.width, h.depth)
	nf := max(h.facings, 1)
	var stays []walk.Stay
	for i, p := range pts {
		for range nf {
			stays = append(stays, walk.Stay{Walk: "w", Visit: fmt.Sprint(i), Point: fmt.Sprintf("P%03d", i), At: p, Scans: h.scans, FacingDeg: walk.NoFacing, Levels: make([]walk.Level, h.aps)})
		}
	}
	var chol *mat.Cholesky
	if h.corrM > 0 {
		c := mat.NewSymDense(len(pts), nil)
		for i := range pts {
			for j := i; j < len(pts); j++ {
				c.SetSym(i, j, math.Exp(-math.Hypot(pts[i][0]-pts[j][0], pts[i][1]-pts[j][1])/h.corrM))
			}
		}
		chol = new(mat.Cholesky)
		if !chol.Factorize(c) {
			panic("correlation is not positive definite")
		}
	}
	d := walkIndexed(s)
	for k := range h.aps {
		z := mat.NewVecDense(len(pts), nil)
		for i := range pts {
			z.SetVec(i, rng.NormFloat64())
		}
		if chol != nil {
			var l mat.TriDense
			chol.LTo(&l)
			var v mat.VecDense
			v.MulVec(&l, z)
			z = &v
		}
		a := h.level1m + h.levelSD*rng.NormFloat64()
		n := h.n + h.exponentSD*rng.NormFloat64()
		if h.exponents != nil {
			h.exponents[k] = n
		}
		for i, p := range pts {
			mu := a - 10*n*math.Log10(s.Distance3D(site.RadioRef{AP: k}, 0, p)) - h.loss*d(s.AccessPoints[k].At, p)
			for j := range nf {
				sh := h.shadow * z.AtVec(i)
				if nf > 1 {
					sh = h.shadow * (math.Sqrt(0.7)*z.AtVec(i) + math.Sqrt(0.3)*rng.NormFloat64())
				}
				gone := rng.Float64() < h.missStay
				var got []float64
				for range h.scans {
					v := math.Round(mu + sh + h.scatter*rng.NormFloat64())
					if !gone && rng.Float64() >= h.missScan && v >= h.floor {
						got = append(got, v)
					}
				}
				stays[i*nf+j].Levels[k] = levelOf(got)
			}
		}
	}
	return s, stays
}

func walkIndexed(s *site.Site) func(a, b orb.Point) float64 {
	ix := site.NewWallIndex(s)
	return func(a, b orb.Point) float64 {
		out := make([]float64, len(ix.Materials())+1)
		ix.Count(0, a, b, out)
		return out[0]
	}
}

func levelOf(readings []float64) walk.Level {
	var l walk.Level
	for _, x := range readings {
		if l.Heard == 0 || x < l.MinDBm {
			l.MinDBm = x
		}
		l.Heard++
		d := x - l.MeanDBm
		l.MeanDBm += d / float64(l.Heard)
		l.SumSqDB += d * (x - l.MeanDBm)
	}
	return l
}
