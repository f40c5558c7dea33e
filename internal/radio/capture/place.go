package capture

import (
	"fmt"
	"math"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// Stand is the one place at which a whole capture was taken.
type Stand struct {
	Point     string // ID of the reference point; may be empty
	Floor     string
	At        orb.Point // metres on the plan
	FacingDeg *float64  // degrees clockwise from the plan's +y; nil where not known
}

// sameStand is the distance in metres within which scans along a track belong
// to one visit: the least distance that the propagation model tells apart.
const sameStand = 0.5

// maxBlur is how far in metres a receiver may move during one scan before a
// warning: about what the better position methods err by.
const maxBlur = 2.0

// AsWalk makes one visit of all scans of a capture, for a capture that was
// taken at one place. Of h, Source becomes walk.Imported, Completed true, and
// Started the time of the first scan where it is zero. Scans without a time
// get h.Started.
func AsWalk(c *Capture, h walk.Header, at Stand) (walk.Walk, error) {
	if len(c.Scans) == 0 {
		return walk.Walk{}, c.fail("the capture holds no scan", "")
	}
	if at.Floor == "" {
		return walk.Walk{}, c.fail("the place of the capture has no floor", "give the floor on which it was taken")
	}
	facing := walk.NoFacing
	if at.FacingDeg != nil {
		facing = *at.FacingDeg
		if !(facing >= 0 && facing < 360) {
			return walk.Walk{}, c.fail(fmt.Sprintf("a facing of %g° is none", facing), "write 0 to below 360, clockwise from the plan's +y")
		}
	}
	v := walk.Visit{ID: visitID(1), Seq: 1, Point: at.Point, Floor: at.Floor, At: at.At}
	for i := range c.Scans {
		v.Scans = append(v.Scans, c.Scans[i].asScan(facing))
	}
	return c.walkOf(h, []walk.Visit{v})
}

// Placed is a capture cut into visits along a track.
type Placed struct {
	Visits   []walk.Visit
	Left     int // scans taken where the track does not say
	Warnings []string
}

// Place cuts the scans of a capture into visits along a track.
//
// Laws:
//  1. A scan was taken where the track was at its middle ([Scan.Middle],
//     [Track.At]); where the track does not say, it is left out and counted.
//  2. A scan joins the visit before it when it lies within 0.5 m of that
//     visit's first scan, on its floor, and none was left out between them;
//     else it begins a visit.
//  3. A visit stands at the mean of its scans' places.
//
// A capture that doesn't tell when its scans were taken ([Capture.Timed]) is
// refused, and so is one of which no scan lies on the track.
func Place(c *Capture, t *Track) (*Placed, error) {
	if len(c.Scans) == 0 {
		return nil, c.fail("the capture holds no scan", "")
	}
	if !c.Timed {
		return nil, c.fail("the capture does not say when its scans were taken, so a track can't place them", "write a time before each scan (date -Is), or give the point where all were taken")
	}
	if len(t.Rows) == 0 {
		return nil, c.fail("the track has no rows", "write where the receiver was when")
	}
	p := &Placed{}
	var first orb.Point // of the visit that is open
	open := false
	blurred := 0
	for i := range c.Scans {
		sc := &c.Scans[i]
		at, floor, ok := t.At(sc.Middle())
		if !ok {
			p.Left++
			open = false
			continue
		}
		if t.moved(sc) > maxBlur {
			blurred++
		}
		if open {
			v := &p.Visits[len(p.Visits)-1]
			if v.Floor == floor && dist(at, first) <= sameStand {
				n := float64(len(v.Scans))
				v.At = orb.Point{(v.At[0]*n + at[0]) / (n + 1), (v.At[1]*n + at[1]) / (n + 1)}
				v.Scans = append(v.Scans, sc.asScan(walk.NoFacing))
				continue
			}
		}
		n := len(p.Visits) + 1
		p.Visits = append(p.Visits, walk.Visit{ID: visitID(n), Seq: n, Floor: floor, At: at, Scans: []walk.Scan{sc.asScan(walk.NoFacing)}})
		first, open = at, true
	}
	if len(p.Visits) == 0 {
		const layout = "2006-01-02T15:04:05Z"
		return nil, c.fail(fmt.Sprintf("no scan lies on the track: scans from %s to %s, the track from %s to %s",
			c.Scans[0].Time.Format(layout), c.Scans[len(c.Scans)-1].Time.Format(layout),
			t.Rows[0].Time.Format(layout), t.Rows[len(t.Rows)-1].Time.Format(layout)), "bring the two clocks together")
	}
	if p.Left > 0 {
		p.Warnings = append(p.Warnings, fmt.Sprintf("%d of %d scans are left out: the track does not say where they were taken", p.Left, len(c.Scans)))
	}
	if blurred > 0 {
		p.Warnings = append(p.Warnings, fmt.Sprintf("the receiver moved by more than %g m during %d of %d scans: their place is uncertain by as much", maxBlur, blurred, len(c.Scans)))
	}
	return p, nil
}

// Walk makes a walk of the visits, with a header as [AsWalk] fills it.
func (p *Placed) Walk(c *Capture, h walk.Header) (walk.Walk, error) {
	if len(p.Visits) == 0 {
		return walk.Walk{}, c.fail("there are no visits", "")
	}
	return c.walkOf(h, p.Visits)
}

func (c *Capture) walkOf(h walk.Header, visits []walk.Visit) (walk.Walk, error) {
	h.Source, h.Completed = walk.Imported, true
	if h.Started.IsZero() {
		h.Started = visits[0].Scans[0].Time
	}
	if h.Started.IsZero() {
		return walk.Walk{}, c.fail("nothing says when it was taken", "give a time")
	}
	for i := range visits {
		for k := range visits[i].Scans {
			if visits[i].Scans[k].Time.IsZero() {
				visits[i].Scans[k].Time = h.Started
			}
		}
	}
	return walk.Walk{Header: h, Visits: visits}, nil
}

func (c *Capture) fail(what, want string) error {
	return &input.Error{File: c.Name, What: what, Want: want}
}

func (s *Scan) asScan(facing float64) walk.Scan {
	sc := walk.Scan{Time: s.Time, FacingDeg: facing, FreqsMHz: s.FreqsMHz, DroppedStale: s.DroppedStale}
	sc.Readings = make([]radio.Reading, len(s.Heard))
	for i, h := range s.Heard {
		sc.Readings[i] = h.Reading
	}
	return sc
}

// moved is the distance between where a scan began and where it ended; 0 where
// the track does not know both on one floor.
func (t *Track) moved(s *Scan) float64 {
	a, fa, okA := t.At(s.Time)
	b, fb, okB := t.At(s.Time.Add(s.Took))
	if !okA || !okB || fa != fb {
		return 0
	}
	return dist(a, b)
}

func dist(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

func visitID(n int) string { return fmt.Sprintf("V%04d", n) }
