package validation

import (
	"context"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"time"

	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// silence is why scans of a scene miss radios, from nothing to all of it.
type silence int

const (
	heard  silence = iota // every scan hears every radio
	missed                // some scans miss a radio, however strong it is
	weak                  // radios fall below the floor of hearing as well
)

// scene is a kind of simulated site, of which any number can be drawn.
type scene struct {
	name         string
	width, depth float64
	aps, points  int
	facings      int // 0: visits without a facing
	scans        int // per facing
	bands        []radio.Band
	walls        bool
	silence      silence
	mixed        bool // more acts than the model knows: its spread and levels at 1 m are not those of the truth

	exponent   float64
	exponentSD float64 // of radios around it
	sigmaDB    float64
	scatterDB  float64
	lengthM    float64 // correlation of the shadowing; 0 for none
	floorDBm   float64
	missRate   float64
	office     bool // everything that synthetic.Office has, in place of the figures above
}

// noLengthM stands for shadowing that is not correlated, and deafDBm for a floor
// of hearing that nothing reaches. Floors lie half a decibel under a whole
// level, so that the lowest level that is reported is the floor of the model.
const (
	noLengthM = 0.01
	deafDBm   = -118.5
)

// hall is the scene from which others differ.
func hall(name string, edit func(*scene)) scene {
	c := scene{name: name, width: 60, depth: 40, aps: 10, points: 50, scans: 8, bands: []radio.Band{radio.Band5},
		exponent: 3, sigmaDB: 4.5, scatterDB: 2, floorDBm: deafDBm}
	if edit != nil {
		edit(&c)
	}
	return c
}

func (c *scene) environment() synthetic.Environment {
	if c.office {
		return synthetic.Office()
	}
	e := synthetic.Plain()
	e.Level1mSD, e.ExponentSD, e.MissRate = 1.5, c.exponentSD, c.missRate
	e.Rest.ScatterDB = c.scatterDB
	if e.Rest.ShadowLengthM = c.lengthM; c.lengthM == 0 {
		e.Rest.ShadowLengthM = noLengthM
	}
	for _, b := range radio.Bands() {
		e.Exponent[b], e.SigmaDB[b] = c.exponent, c.sigmaDB
		e.Rest.FloorDBm[b] = c.floorDBm
	}
	return e
}

// spread gives n places, one in each of n cells of equal area in rows, as far
// from the cell's sides as margin, a share of the cell, says. Without a margin
// no part of the floor is less likely than another.
func spread(rng *rand.Rand, n int, w, d, margin float64) (out []orb.Point) {
	rows := max(1, int(math.Round(math.Sqrt(float64(n)*d/w))))
	within := func() float64 { return margin + (1-2*margin)*rng.Float64() }
	for r := range rows {
		first, next := r*n/rows, (r+1)*n/rows
		y, height := float64(first)*d/float64(n), float64(next-first)*d/float64(n)
		width := w / float64(next-first)
		for i := range next - first {
			out = append(out, orb.Point{(float64(i) + within()) * width, y + within()*height})
		}
	}
	return out
}

// apMargin keeps access points from hanging side by side.
const apMargin = .2

// plan draws the plan of a site. Access points hang at 3 m.
func (c *scene) plan(rng *rand.Rand) *site.Site {
	s := &site.Site{Name: c.name, ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G",
		Outline: orb.Ring{{0, 0}, {c.width, 0}, {c.width, c.depth}, {0, c.depth}}}}}
	if c.walls {
		at := func(x, y float64) orb.Point { return orb.Point{x * c.width, y * c.depth} }
		s.Floors[0].Walls = []site.Wall{
			{Material: "brick", Line: orb.LineString{at(.34, 0), at(.34, .6)}},
			{Material: "brick", Line: orb.LineString{at(.68, 1), at(.68, .35), at(1, .35)}},
			{Material: "plasterboard", Line: orb.LineString{at(0, .42), at(.28, .42)}},
			{Material: "plasterboard", Line: orb.LineString{at(.17, .42), at(.17, 1)}},
			{Material: "plasterboard", Line: orb.LineString{at(.4, .7), at(.62, .7), at(.62, 1)}},
			{Material: "plasterboard", Line: orb.LineString{at(.5, 0), at(.5, .3)}},
			{Material: "plasterboard", Line: orb.LineString{at(.84, .35), at(.84, .95)}},
		}
	}
	for i, at := range spread(rng, c.aps, c.width, c.depth, apMargin) {
		ap := site.AccessPoint{ID: fmt.Sprintf("AP-%02d", i+1), Floor: "G", At: at, HeightM: 3}
		for j, b := range c.bands {
			ap.Radios = append(ap.Radios, site.Radio{Band: b, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0, byte(j), byte(i + 1)}}})
		}
		s.AccessPoints = append(s.AccessPoints, ap)
	}
	for i, at := range spread(rng, c.points, c.width, c.depth, 0) {
		s.Floors[0].Points = append(s.Floors[0].Points, site.Point{ID: fmt.Sprintf("P%03d", i+1), At: at})
	}
	return s
}

// drawn is one site of a scene: its plan, its truth, and a receiver on it.
type drawn struct {
	scene   *scene
	seed    uint64
	site    *site.Site
	truth   synthetic.Truth
	scanner *synthetic.Scanner
	clock   *synthetic.SimulatedClock
	rng     *rand.Rand
}

// draw draws site number i of the scene.
func (c *scene) draw(seed uint64, i int) (*drawn, error) {
	h := fnv.New64a()
	_, _ = h.Write([]byte(c.name)) // a hash takes everything
	rng := rand.New(rand.NewPCG(seed, h.Sum64()+uint64(i)))
	d := &drawn{scene: c, seed: rng.Uint64(), rng: rng, clock: synthetic.NewSimulatedClock(time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC))}
	d.site = c.plan(rng)
	d.truth = c.environment().Truth(d.site, d.seed)
	var err error
	d.scanner, err = synthetic.New(d.site, d.truth, d.seed, d.clock)
	return d, err
}

// betweenPoints is how long a surveyor takes from one point to the next.
const betweenPoints = 15 * time.Second

// visit records at a place as a walk does.
func (d *drawn) visit(ctx context.Context, id, point string, at orb.Point) (walk.Visit, error) {
	v := walk.Visit{ID: id, Point: point, Floor: "G", At: at}
	for f := range max(d.scene.facings, 1) {
		facing := walk.NoFacing
		if d.scene.facings > 0 {
			facing = 360 * float64(f) / float64(d.scene.facings)
		}
		if err := d.clock.Sleep(ctx, betweenPoints/time.Duration(max(d.scene.facings, 1))); err != nil {
			return v, err
		}
		d.scanner.Place("G", at, facing)
		since := d.clock.Now()
		for range d.scene.scans {
			sw, err := d.scanner.Scan(ctx, radio.Request{NotBefore: since})
			if err != nil {
				return v, err
			}
			sc := walk.Scan{Time: sw.Started, FacingDeg: facing, DroppedStale: sw.DroppedStale}
			for _, h := range sw.Heard {
				sc.Readings = append(sc.Readings, h.Reading)
			}
			v.Scans = append(v.Scans, sc)
		}
	}
	return v, nil
}

// The IDs of the two walks of a simulated site.
const (
	surveyWalk = "survey"
	freshWalk  = "fresh"
)

// survey walks the points of the plan.
func (d *drawn) survey(ctx context.Context) (walk.Walk, error) {
	w := walk.Walk{Header: walk.Header{ID: surveyWalk}}
	for _, p := range d.site.Floors[0].Points {
		v, err := d.visit(ctx, "V-"+p.ID, p.ID, p.At)
		if err != nil {
			return w, err
		}
		w.Visits = append(w.Visits, v)
	}
	return w, nil
}

// fresh walks n places where the survey never was, anywhere on the floor that
// where allows.
func (d *drawn) fresh(ctx context.Context, n int, where func(orb.Point) bool) (walk.Walk, error) {
	w := walk.Walk{Header: walk.Header{ID: freshWalk}}
	for len(w.Visits) < n {
		at := orb.Point{d.scene.width * d.rng.Float64(), d.scene.depth * d.rng.Float64()}
		if !where(at) {
			continue
		}
		id := fmt.Sprintf("F%04d", len(w.Visits)+1)
		v, err := d.visit(ctx, id, id, at)
		if err != nil {
			return w, err
		}
		w.Visits = append(w.Visits, v)
	}
	return w, nil
}

func anywhere(orb.Point) bool { return true }

// roundingDB2 is the variance that rounding to whole decibels adds to a level.
const roundingDB2 = 1.0 / 12

// truly is the fit that a site would have if the truth were known.
func (d *drawn) truly() (*propagation.Fit, error) {
	t := &d.truth
	v := func(x float64) propagation.Value { return propagation.Value{Est: x} }
	var groups []propagation.Group
	var losses []propagation.WallLoss
	for _, b := range d.scene.bands {
		groups = append(groups, propagation.Group{Band: b, Exponent: v(d.scene.exponent), SigmaDB: v(d.sigma()), ShadowDB: d.scene.sigmaDB,
			ScatterDB: math.Sqrt(t.ScatterDB*t.ScatterDB + roundingDB2), FloorDBm: t.FloorDBm[b] + .5})
		for _, m := range d.site.Materials() {
			losses = append(losses, propagation.WallLoss{Material: m, Band: b, LossDB: v(t.Walls[synthetic.Wall{Material: m, Band: b}])})
		}
	}
	radios := make([]propagation.RadioFit, len(t.Radios))
	for k, r := range t.Radios {
		radios[k] = propagation.RadioFit{InFit: true, Level1m: v(r.Level1mDBm), Exponent: v(r.Exponent), ScanMiss: r.MissRate}
	}
	return propagation.Assume(d.site, propagation.Options{PerAP: d.scene.exponentSD > 0}, groups, radios, losses)
}

// sigma is the true spread of the mean level of a visit that all scans heard.
func (d *drawn) sigma() float64 {
	n := float64(d.scene.scans * max(d.scene.facings, 1))
	return math.Sqrt(d.scene.sigmaDB*d.scene.sigmaDB + (d.scene.scatterDB*d.scene.scatterDB+roundingDB2)/n)
}
