package capture_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/radio/capture"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func sec(s float64) time.Time { return start().Add(time.Duration(s * float64(time.Second))) }

func TestReadTrack(t *testing.T) {
	tr, err := capture.ReadTrack("track.csv", bytes.NewReader(fixture(t, "track.csv")))
	require.NoError(t, err)
	assert.Equal(t, &capture.Track{
		Rows: []capture.TrackRow{
			{Time: sec(0), At: orb.Point{0, 0}, Floor: "G"},
			{Time: sec(10), At: orb.Point{10, 0}, Floor: "G"},
			{Time: sec(20), At: orb.Point{10, 0}, Floor: "G"},
			{Time: sec(40), At: orb.Point{12, 3}, Floor: "1"},
		},
		Warnings: []string{`1 columns of the track are passed over, the first "note"`},
	}, tr)
}

func TestReadTrackErrors(t *testing.T) {
	const head = "time,x_m,y_m,floor\n"
	tests := []struct{ name, in, want string }{
		{"empty", "", "t: the track is empty; begin with time,x_m,y_m,floor"},
		{"no rows", head, "t: the track has no row below its header; write where the receiver was when"},
		{"no floor column", "time,x_m,y_m\n", "t:1: the column floor is missing; begin with time,x_m,y_m,floor"},
		{"column twice", "time,x_m,y_m,floor,time\n", "t:1:20: the column time stands there twice; leave one out"},
		{"time", head + "10:00,0,0,G\n", `t:2:1: "10:00" is no time; write it like 2031-05-06T10:00:00Z`},
		{"coordinate", head + "2031-05-06T10:00:00Z,0,NaN,G\n", `t:2:24: "NaN" is no coordinate; write metres on the plan, such as 12.5`},
		{"coordinate too far", head + "2031-05-06T10:00:00Z,2e6,0,G\n", `t:2:22: "2e6" is no coordinate; write metres on the plan, such as 12.5`},
		{"no floor", head + "2031-05-06T10:00:00Z,0,0,\n", "t:2:26: the floor is empty; write the floor's id"},
		{"short row", head + "2031-05-06T10:00:00Z,0,0\n", "t:2:1: the row can't be read: wrong number of fields; write as many cells as the header has"},
		{"time stands still", head + "2031-05-06T10:00:00Z,0,0,G\n2031-05-06T10:00:00Z,1,0,G\n", "t:3: the time 2031-05-06T10:00:00Z is not after that of the row before; sort the rows by time, one place a moment"},
		{"too fast", head + "2031-05-06T10:00:00Z,0,0,G\n2031-05-06T10:00:02Z,30,40,G\n", "t:3: 50.0 m in 2s since the row before is 25.0 m/s, faster than anybody walks; mend the time or the place"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tr, err := capture.ReadTrack("t", strings.NewReader(tt.in))
			assert.Nil(t, tr)
			assert.EqualError(t, err, tt.want)
			var e *input.Error
			assert.ErrorAs(t, err, &e)
		})
	}
}

func TestTrackAt(t *testing.T) {
	tr := &capture.Track{Rows: []capture.TrackRow{
		{Time: sec(0), At: orb.Point{0, 0}, Floor: "G"},
		{Time: sec(10), At: orb.Point{10, 4}, Floor: "G"},
		{Time: sec(20), At: orb.Point{2, 1}, Floor: "1"},
		{Time: sec(23), At: orb.Point{2, 2}, Floor: "2"},
	}}
	tests := []struct {
		s     float64
		at    orb.Point
		floor string
		ok    bool
	}{
		{0, orb.Point{0, 0}, "G", true}, {2.5, orb.Point{2.5, 1}, "G", true}, {10, orb.Point{10, 4}, "G", true}, // 1
		{-2, orb.Point{0, 0}, "G", true}, {-2.01, orb.Point{}, "", false}, // 2 and 3
		{25, orb.Point{2, 2}, "2", true}, {25.01, orb.Point{}, "", false},
		{12, orb.Point{10, 4}, "G", true}, {12.01, orb.Point{}, "", false}, {17.9, orb.Point{}, "", false}, {18, orb.Point{2, 1}, "1", true},
		{21.4, orb.Point{2, 1}, "1", true}, {21.5, orb.Point{2, 1}, "1", true}, {21.6, orb.Point{2, 2}, "2", true},
	}
	for _, tt := range tests {
		at, floor, ok := tr.At(sec(tt.s))
		assert.Equal(t, tt.ok, ok, "%g s", tt.s)
		assert.Equal(t, tt.floor, floor, "%g s", tt.s)
		assert.InDeltaSlice(t, tt.at[:], at[:], 1e-9, "%g s", tt.s)
	}
}

// Scans of one second along a straight line at 1 m/s, then standing, then on
// another floor; a gap where nobody knows.
func TestPlace(t *testing.T) {
	tr, err := capture.ReadTrack("track.csv", bytes.NewReader(fixture(t, "track.csv")))
	require.NoError(t, err)
	c := &capture.Capture{Name: "f", Timed: true}
	for _, s := range []float64{-4, 0, 1, 4, 12, 13, 30, 39, 40} {
		c.Scans = append(c.Scans, capture.Scan{Time: sec(s), Took: time.Second, Heard: []radio.Heard{heard(1, "x", 2412, -50-s, 0)}})
	}
	c.Scans[3].Took, c.Scans[3].DroppedStale = 4*time.Second, 2
	p, err := capture.Place(c, tr)
	require.NoError(t, err)
	scan := func(s float64, stale int) walk.Scan {
		return walk.Scan{Time: sec(s), FacingDeg: walk.NoFacing, DroppedStale: stale, Readings: []radio.Reading{heard(1, "x", 2412, -50-s, 0).Reading}}
	}
	assert.Equal(t, &capture.Placed{
		Visits: []walk.Visit{
			{ID: "V0001", Seq: 1, Floor: "G", At: orb.Point{0.5, 0}, Scans: []walk.Scan{scan(0, 0)}},
			{ID: "V0002", Seq: 2, Floor: "G", At: orb.Point{1.5, 0}, Scans: []walk.Scan{scan(1, 0)}},
			{ID: "V0003", Seq: 3, Floor: "G", At: orb.Point{6, 0}, Scans: []walk.Scan{scan(4, 2)}},
			{ID: "V0004", Seq: 4, Floor: "G", At: orb.Point{10, 0}, Scans: []walk.Scan{scan(12, 0), scan(13, 0)}},
			{ID: "V0005", Seq: 5, Floor: "1", At: orb.Point{12, 3}, Scans: []walk.Scan{scan(39, 0), scan(40, 0)}},
		},
		Left: 2,
		Warnings: []string{
			"2 of 9 scans are left out: the track does not say where they were taken",
			"the receiver moved by more than 2 m during 1 of 9 scans: their place is uncertain by as much",
		},
	}, p)

	w, err := p.Walk(c, walk.Header{ID: "W1", Receiver: "mon0"})
	require.NoError(t, err)
	assert.Equal(t, walk.Walk{
		Header: walk.Header{ID: "W1", Receiver: "mon0", Source: walk.Imported, Started: sec(0), Completed: true},
		Visits: p.Visits,
	}, w)
}

// Scans within half a metre of a visit's first one are one visit, which stands
// at the mean of their places; a scan that can't be placed parts visits.
func TestPlaceJoins(t *testing.T) {
	tr := &capture.Track{Rows: []capture.TrackRow{
		{Time: sec(0), At: orb.Point{0, 0}, Floor: "G"}, {Time: sec(100), At: orb.Point{20, 0}, Floor: "G"}, // 0.2 m/s
		{Time: sec(101), At: orb.Point{20, 0}, Floor: "1"},
	}}
	c := &capture.Capture{Timed: true}
	for _, s := range []float64{0, 1, 2, 3, 99.5, 100.9} {
		c.Scans = append(c.Scans, capture.Scan{Time: sec(s)})
	}
	p, err := capture.Place(c, tr)
	require.NoError(t, err)
	var at []orb.Point
	var floors []string
	var n []int
	for _, v := range p.Visits {
		at, floors, n = append(at, v.At), append(floors, v.Floor), append(n, len(v.Scans))
	}
	assert.Equal(t, []int{3, 1, 1, 1}, n)
	assert.Equal(t, []string{"G", "G", "G", "1"}, floors)
	assert.InDelta(t, 0.2, at[0][0], 1e-9)
	assert.InDelta(t, 0.6, at[1][0], 1e-9)
}

func TestPlaceErrors(t *testing.T) {
	tr := &capture.Track{Rows: []capture.TrackRow{{Time: sec(0), Floor: "G"}}}
	one := []capture.Scan{{Time: sec(100)}}
	tests := []struct {
		c    *capture.Capture
		tr   *capture.Track
		want string
	}{
		{&capture.Capture{Name: "f", Timed: true}, tr, "f: the capture holds no scan"},
		{&capture.Capture{Name: "f", Scans: one}, tr, "f: the capture does not say when its scans were taken, so a track can't place them; write a time before each scan (date -Is), or give the point where all were taken"},
		{&capture.Capture{Name: "f", Timed: true, Scans: one}, &capture.Track{}, "f: the track has no rows; write where the receiver was when"},
		{&capture.Capture{Name: "f", Timed: true, Scans: one}, tr, "f: no scan lies on the track: scans from 2031-05-06T10:01:40Z to 2031-05-06T10:01:40Z, the track from 2031-05-06T10:00:00Z to 2031-05-06T10:00:00Z; bring the two clocks together"},
	}
	for _, tt := range tests {
		_, err := capture.Place(tt.c, tt.tr)
		assert.EqualError(t, err, tt.want)
	}
}

func TestAsWalk(t *testing.T) {
	c, err := capture.Read("beacons.pcap", bytes.NewReader(fixture(t, "beacons.pcap")), capture.Options{})
	require.NoError(t, err)
	facing := 90.0
	w, err := capture.AsWalk(c, walk.Header{ID: "W1"}, capture.Stand{Point: "P01", Floor: "G", At: orb.Point{3, 4}, FacingDeg: &facing})
	require.NoError(t, err)
	scans := make([]walk.Scan, len(c.Scans))
	for i, s := range c.Scans {
		scans[i] = walk.Scan{Time: s.Time, FacingDeg: 90, FreqsMHz: []int{2412}, Readings: []radio.Reading{}}
		for _, h := range s.Heard {
			scans[i].Readings = append(scans[i].Readings, h.Reading)
		}
	}
	assert.Equal(t, walk.Walk{
		Header: walk.Header{ID: "W1", Source: walk.Imported, Started: start(), Completed: true},
		Visits: []walk.Visit{{ID: "V0001", Seq: 1, Point: "P01", Floor: "G", At: orb.Point{3, 4}, Scans: scans}},
	}, w)
	assert.Equal(t, 3, w.Readings())

	// Without times of its own, the walk's.
	text, err := capture.Read("f", strings.NewReader(full(1)), capture.Options{})
	require.NoError(t, err)
	w, err = capture.AsWalk(text, walk.Header{Started: sec(5)}, capture.Stand{Floor: "G"})
	require.NoError(t, err)
	assert.Equal(t, sec(5), w.Visits[0].Scans[0].Time)
	assert.Equal(t, walk.NoFacing, w.Visits[0].Scans[0].FacingDeg)

	_, err = capture.AsWalk(text, walk.Header{}, capture.Stand{Floor: "G"})
	assert.EqualError(t, err, "f: nothing says when it was taken; give a time")
	_, err = capture.AsWalk(text, walk.Header{}, capture.Stand{})
	assert.EqualError(t, err, "f: the place of the capture has no floor; give the floor on which it was taken")
	facing = 360
	_, err = capture.AsWalk(text, walk.Header{}, capture.Stand{Floor: "G", FacingDeg: &facing})
	assert.EqualError(t, err, "f: a facing of 360° is none; write 0 to below 360, clockwise from the plan's +y")
	_, err = capture.AsWalk(&capture.Capture{Name: "f"}, walk.Header{}, capture.Stand{Floor: "G"})
	assert.EqualError(t, err, "f: the capture holds no scan")
}
