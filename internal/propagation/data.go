package propagation

import (
	"math"

	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// Storey is the pseudo material of the slab between two storeys; its crossings
// are the floors that lie between transmitter and receiver.
const Storey = "floor"

// Data is stays lined up with the radios of a site: what was heard, how far
// away and through what. The per-pair slices hold stay i and radio k at
// i*Radios+k, Crossings at (i*Radios+k)*len(Materials) onwards.
type Data struct {
	Site      *site.Site
	Radios    int
	Materials []string // wall materials of the site, then [Storey] where there are several floors

	Places  []walk.Place // each place once, in order of its first stay
	PlaceOf []int        // per stay, index into Places
	At      []orb.Point  // per stay
	Floor   []int        // per stay, index into Site.Floors
	Scans   []int        // per stay

	DistanceM []float64 // per pair, three-dimensional
	Crossings []float64 // per pair and material
	PatternDB []float64 // per pair, what the antenna lacks in that direction (0 or less); nil where no antenna has a pattern
	Levels    []walk.Level

	links *links
}

// Observe lines up stays with the radios of the site. A level that is missing
// at the end of Stay.Levels counts as not heard.
func Observe(s *site.Site, stays []walk.Stay) *Data {
	l := newLinks(s)
	n, r, w := len(stays), len(l.radios), len(l.materials)
	d := &Data{
		Site: s, Radios: r, Materials: l.materials, links: l,
		PlaceOf: make([]int, n), At: make([]orb.Point, n), Floor: make([]int, n), Scans: make([]int, n),
		DistanceM: make([]float64, n*r), Crossings: make([]float64, n*r*w), Levels: make([]walk.Level, n*r),
	}
	if l.directional {
		d.PatternDB = make([]float64, n*r)
	}
	place := make(map[walk.Place]int)
	for i := range stays {
		st := &stays[i]
		p, ok := place[st.Place()]
		if !ok {
			p = len(d.Places)
			place[st.Place()] = p
			d.Places = append(d.Places, st.Place())
		}
		d.PlaceOf[i], d.At[i], d.Floor[i], d.Scans[i] = p, st.At, st.Floor, st.Scans
		copy(d.Levels[i*r:(i+1)*r], st.Levels)
		if i > 0 && stays[i-1].At == st.At && stays[i-1].Floor == st.Floor {
			copy(d.DistanceM[i*r:(i+1)*r], d.DistanceM[(i-1)*r:i*r])
			copy(d.Crossings[i*r*w:(i+1)*r*w], d.Crossings[(i-1)*r*w:i*r*w])
			if d.PatternDB != nil {
				copy(d.PatternDB[i*r:(i+1)*r], d.PatternDB[(i-1)*r:i*r])
			}
			continue
		}
		for k := range r {
			at := i*r + k
			if d.PatternDB != nil {
				d.PatternDB[at] = l.pattern(k, st.Floor, st.At)
			}
			d.DistanceM[at] = l.measure(k, st.Floor, st.At, d.Crossings[at*w:(at+1)*w])
		}
	}
	return d
}

// Stays is how many stays there are.
func (d *Data) Stays() int { return len(d.Scans) }

// Subset keeps the stays for which keep is true, without measuring again.
func (d *Data) Subset(keep func(stay int) bool) *Data {
	r, w := d.Radios, len(d.Materials)
	out := &Data{Site: d.Site, Radios: r, Materials: d.Materials, Places: d.Places, links: d.links}
	n := 0
	for i := range d.Scans {
		if keep(i) {
			n++
		}
	}
	out.PlaceOf, out.Scans, out.Floor = make([]int, 0, n), make([]int, 0, n), make([]int, 0, n)
	out.At = make([]orb.Point, 0, n)
	out.DistanceM, out.Levels = make([]float64, 0, n*r), make([]walk.Level, 0, n*r)
	out.Crossings = make([]float64, 0, n*r*w)
	for i := range d.Scans {
		if !keep(i) {
			continue
		}
		out.PlaceOf = append(out.PlaceOf, d.PlaceOf[i])
		out.Scans = append(out.Scans, d.Scans[i])
		out.Floor = append(out.Floor, d.Floor[i])
		out.At = append(out.At, d.At[i])
		out.DistanceM = append(out.DistanceM, d.DistanceM[i*r:(i+1)*r]...)
		out.Levels = append(out.Levels, d.Levels[i*r:(i+1)*r]...)
		out.Crossings = append(out.Crossings, d.Crossings[i*r*w:(i+1)*r*w]...)
		if d.PatternDB != nil {
			out.PatternDB = append(out.PatternDB, d.PatternDB[i*r:(i+1)*r]...)
		}
	}
	return out
}

// links measures the way between radios and places of a site.
type links struct {
	site      *site.Site
	radios    []site.RadioRef
	materials []string
	walls     *site.WallIndex
	storeys   bool  // the last material is Storey
	floorOf   []int // per radio, index into Site.Floors

	directional bool // some antenna has a pattern
}

// pattern is what the antenna of radio k lacks towards a place, in dB, 0 or less.
func (l *links) pattern(k, floor int, at orb.Point) float64 {
	if !l.directional {
		return 0
	}
	return l.site.PatternDB(l.radios[k], floor, at)
}

func newLinks(s *site.Site) *links {
	l := &links{site: s, radios: s.Radios(), walls: site.NewWallIndex(s), storeys: len(s.Floors) > 1}
	l.materials = append(l.materials, l.walls.Materials()...)
	if l.storeys {
		l.materials = append(l.materials, Storey)
	}
	l.floorOf = make([]int, len(l.radios))
	for k, r := range l.radios {
		l.floorOf[k] = s.FloorIndex(s.AccessPoints[r.AP].Floor)
		l.directional = l.directional || s.AccessPoints[r.AP].Radios[r.Radio].Antenna.Directional()
	}
	return l
}

// measure gives the distance in metres from radio k to the place and adds the
// crossings to out. Walls are counted on every storey along the part of the
// straight line that lies between its slab and the next.
func (l *links) measure(k, floor int, at orb.Point, out []float64) float64 {
	ref := l.radios[k]
	ap := &l.site.AccessPoints[ref.AP]
	from := l.floorOf[k]
	d := l.site.Distance3D(ref, floor, at)
	if from == floor {
		l.walls.Count(floor, ap.At, at, out)
		return d
	}
	slabs := l.legs(k, floor, func(storey int, t0, t1 float64) {
		l.walls.Count(storey, along(ap.At, at, t0), along(ap.At, at, t1), out)
	})
	if slabs > 0 {
		out[len(out)-1] += float64(slabs)
	}
	return d
}

// rise is the height in metres of radio k above the receiver on a floor.
func (l *links) rise(k, floor int) float64 {
	ap := &l.site.AccessPoints[l.radios[k].AP]
	return l.site.Floors[l.floorOf[k]].ElevationM + ap.HeightM - l.site.Floors[floor].ElevationM - l.site.ReceiverHeightM
}

// legs cuts the straight lines from radio k to places of a floor into their
// parts on each storey, from share t0 to share t1 of the way: the same for all
// places. It gives the number of slabs in between.
func (l *links) legs(k, floor int, leg func(storey int, t0, t1 float64)) (slabs int) {
	from := l.floorOf[k]
	if from == floor {
		leg(floor, 0, 1)
		return 0
	}
	zt := l.site.Floors[from].ElevationM + l.site.AccessPoints[l.radios[k].AP].HeightM
	zr := l.site.Floors[floor].ElevationM + l.site.ReceiverHeightM
	lo, hi := min(l.site.Floors[from].ElevationM, l.site.Floors[floor].ElevationM), max(l.site.Floors[from].ElevationM, l.site.Floors[floor].ElevationM)
	for f := range l.site.Floors {
		e := l.site.Floors[f].ElevationM
		if lo < e && e <= hi {
			slabs++ // the slab under floor f
		}
		if e < lo || e > hi || zt == zr {
			continue
		}
		top := math.Inf(1)
		for g := range l.site.Floors {
			if z := l.site.Floors[g].ElevationM; z > e {
				top = min(top, z)
			}
		}
		if e == hi {
			top = math.Inf(1)
		}
		bottom := e
		if e == lo {
			bottom = math.Inf(-1)
		}
		t0, t1 := (bottom-zt)/(zr-zt), (top-zt)/(zr-zt)
		if t0 > t1 {
			t0, t1 = t1, t0
		}
		t0, t1 = max(t0, 0), min(t1, 1)
		if t0 < t1 {
			leg(f, t0, t1)
		}
	}
	return slabs
}

func along(a, b orb.Point, t float64) orb.Point {
	return orb.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}
}
