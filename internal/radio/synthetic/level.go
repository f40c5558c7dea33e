package synthetic

import (
	"math"
	"math/rand/v2"

	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// Streams of the random numbers of one seed.
const (
	streamTruth uint64 = 1 + iota
	streamAPField
	streamRadioField
	streamSweep
)

// building is the part of a truth that does not change with time: levels by
// place. Radios are those of the site, then the foreign ones. It is safe for
// use by several goroutines.
type building struct {
	truth  Truth
	real   *site.Site // with every box where it really hangs, foreign ones last
	refs   []site.RadioRef
	walls  *site.WallIndex
	losses [][]float64 // per radio and material, dB
	shadow [][]shadow  // per floor and radio
}

// shadow is S of one radio on one floor.
type shadow struct {
	shared, own   field
	wShared, wOwn float64 // dB
}

func newBuilding(s *site.Site, t Truth, seed uint64) *building {
	b := &building{truth: t, real: &site.Site{ReceiverHeightM: s.ReceiverHeightM, Floors: s.Floors}, walls: site.NewWallIndex(s)}
	for i, ap := range s.AccessPoints {
		really := t.AccessPoints[i]
		ap.Floor, ap.At, ap.HeightM = really.Floor, really.At, really.HeightM
		b.real.AccessPoints = append(b.real.AccessPoints, ap)
	}
	for _, f := range t.Foreign {
		b.real.AccessPoints = append(b.real.AccessPoints, site.AccessPoint{
			Floor: f.Floor, At: f.At, HeightM: f.HeightM, Radios: []site.Radio{{Band: f.Band}}})
	}
	b.refs = b.real.Radios()
	for k := range b.refs {
		loss := make([]float64, len(b.walls.Materials()))
		for m, name := range b.walls.Materials() {
			loss[m] = t.Walls[Wall{name, b.radio(k).Band}]
		}
		b.losses = append(b.losses, loss)
	}
	for f := range s.Floors {
		perAP := make([]field, len(b.real.AccessPoints))
		for i := range perAP {
			perAP[i] = newField(rngOf(seed, streamAPField, f, i), t.ShadowLengthM)
		}
		row := make([]shadow, len(b.refs))
		for k, ref := range b.refs {
			sigma := b.radio(k).SigmaDB
			row[k] = shadow{
				shared: perAP[ref.AP], wShared: sigma * math.Sqrt(t.APShare),
				own: newField(rngOf(seed, streamRadioField, f, k), t.ShadowLengthM), wOwn: sigma * math.Sqrt(1-t.APShare),
			}
		}
		b.shadow = append(b.shadow, row)
	}
	return b
}

// rngOf gives the random source number i of a stream on a floor. Foreign boxes
// come after those of the site, so a truth without them has the same fields.
func rngOf(seed, stream uint64, floor, i int) *rand.Rand {
	return rand.New(rand.NewPCG(seed, stream<<56|uint64(floor)<<32|uint64(i)))
}

func (b *building) radio(k int) *Radio {
	if n := len(b.truth.Radios); k >= n {
		return &b.truth.Foreign[k-n].Radio
	}
	return &b.truth.Radios[k]
}

// model is the level of radio k without shadowing, in dBm.
func (b *building) model(k, floor int, at orb.Point) float64 {
	r, ref := b.radio(k), b.refs[k]
	d := b.real.Distance3D(ref, floor, at)
	level := r.Level1mDBm - 10*r.Exponent*math.Log10(d)
	if r.Antenna.Directional() {
		ap := &b.real.AccessPoints[ref.AP]
		rise := b.real.Floors[floor].ElevationM + b.real.ReceiverHeightM - b.real.Floors[b.real.FloorIndex(ap.Floor)].ElevationM - ap.HeightM
		level += r.Antenna.PatternDB(at[0]-ap.At[0], at[1]-ap.At[1], rise)
	}
	crossed := make([]float64, len(b.losses[k]))
	storeys := b.cross(ref.AP, floor, at, crossed)
	for m, c := range crossed {
		level -= c * b.losses[k][m]
	}
	return level - float64(storeys)*b.truth.FloorLossDB[r.Band]
}

// cross counts the walls and the slabs between an AP and a receiver. Of a line
// from storey to storey, the walls of each storey meet the part between its
// slab and the next one.
func (b *building) cross(ap, floor int, at orb.Point, walls []float64) (slabs int) {
	a := &b.real.AccessPoints[ap]
	from := b.real.FloorIndex(a.Floor)
	if from == floor {
		b.walls.Count(floor, a.At, at, walls)
		return 0
	}
	floors := b.real.Floors
	za, zb := floors[from].ElevationM+a.HeightM, floors[floor].ElevationM+b.real.ReceiverHeightM
	lo, hi := floors[from].ElevationM, floors[floor].ElevationM
	if lo > hi {
		lo, hi = hi, lo
	}
	for f := range floors {
		base := floors[f].ElevationM
		if base < lo || base > hi {
			continue
		}
		if base > lo {
			slabs++
		}
		ceiling := math.Inf(1)
		for _, g := range floors {
			if base < g.ElevationM && g.ElevationM <= hi {
				ceiling = min(ceiling, g.ElevationM)
			}
		}
		if base == lo {
			base = math.Inf(-1)
		}
		// The line is at height za + t (zb − za), t from 0 to 1.
		t0, t1 := (base-za)/(zb-za), (ceiling-za)/(zb-za)
		t0, t1 = max(0, min(t0, t1)), min(1, max(t0, t1))
		if t0 < t1 {
			on := func(t float64) orb.Point {
				return orb.Point{a.At[0] + t*(at[0]-a.At[0]), a.At[1] + t*(at[1]-a.At[1])}
			}
			b.walls.Count(f, on(t0), on(t1), walls)
		}
	}
	return slabs
}

// mean is the level of radio k with its shadowing, in dBm.
func (b *building) mean(k, floor int, at orb.Point) float64 {
	s := &b.shadow[floor][k]
	level := b.model(k, floor, at)
	if s.wShared != 0 {
		level += s.wShared * s.shared.at(at)
	}
	if s.wOwn != 0 {
		level += s.wOwn * s.own.at(at)
	}
	return level
}

// body is the loss in dB in the surveyor's body: with θ the angle on the plan
// between the facing and the AP, and e the share of the distance that lies in
// the plane,
//
//	B e ((1 − cos θ)/2)²
//
// nothing in front, a quarter at the side, all behind, less under the AP.
// Without a facing (below 0) it is the mean over all of them, 3/8 B e.
func (b *building) body(k, floor int, at orb.Point, facingDeg float64) float64 {
	ref := b.refs[k]
	ap := b.real.AccessPoints[ref.AP].At
	dx, dy := ap[0]-at[0], ap[1]-at[1]
	plane := math.Hypot(dx, dy)
	if plane == 0 {
		return 0
	}
	share := 3.0 / 8
	if facingDeg >= 0 {
		sin, cos := math.Sincos(facingDeg * math.Pi / 180)
		behind := (1 - (dx*sin+dy*cos)/plane) / 2
		share = behind * behind
	}
	return b.truth.BodyLossDB * min(1, plane/b.real.Distance3D(ref, floor, at)) * share
}

func hypot(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }
