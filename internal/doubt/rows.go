package doubt

import (
	"fmt"
	"math"
	"slices"
	"time"

	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// rows is what was heard, one row a stay of one receiver at one place, in the
// order of time. Slices per cell hold radio k and row i at k*n+i.
type rows struct {
	site     *site.Site
	refs     []site.RadioRef
	n        int
	merged   bool // some rows are the mean of neighbours
	at       []orb.Point
	floor    []int // index into Site.Floors
	receiver []int // index into receivers
	place    []int // equal for stays at one place
	names    []Visit
	out      []bool // left out: it is not where it says

	receivers []string

	level    []float64 // per cell, dBm; NaN where it was not heard
	heard    []int     // per cell, scans that heard
	listened []int     // per cell, scans that listened on its channel; 0 says nothing at all
	floorDBm []float64 // per cell, lowest level that the receiver reports in the band
}

// stayedM is how far apart stays may be and still count as one place.
const stayedM = 0.3

// newRows lines up the standing visits of walks by time.
func newRows(s *site.Site, walks []walk.Walk) *rows {
	type row struct {
		stay  walk.Stay
		recv  int
		visit Visit
	}
	var all []row
	r := &rows{site: s, refs: s.Radios()}
	for w := range walks {
		recv := slices.Index(r.receivers, walks[w].Receiver)
		if recv < 0 {
			recv = len(r.receivers)
			r.receivers = append(r.receivers, walks[w].Receiver)
		}
		started := map[string]time.Time{}
		for _, v := range walks[w].Standing() {
			if len(v.Scans) > 0 {
				started[v.ID] = v.Scans[0].Time
			}
		}
		for _, st := range walk.Stays(s, walks[w:w+1], walk.ByVisit) {
			all = append(all, row{st, recv, Visit{Walk: walks[w].ID, ID: st.Visit, Point: st.Point, Time: started[st.Visit], Floor: st.Floor, At: st.At}})
		}
	}
	slices.SortStableFunc(all, func(a, b row) int { return a.visit.Time.Compare(b.visit.Time) })
	r.n = len(all)
	cells := r.n * len(r.refs)
	r.level, r.heard, r.listened = make([]float64, cells), make([]int, cells), make([]int, cells)
	r.out = make([]bool, r.n)
	low := make([]float64, cells)
	for i, a := range all {
		r.at, r.floor = append(r.at, a.stay.At), append(r.floor, a.stay.Floor)
		r.receiver, r.names = append(r.receiver, a.recv), append(r.names, a.visit)
		for k := range r.refs {
			l := a.stay.Levels[k]
			c := k*r.n + i
			r.heard[c], r.listened[c], r.level[c], low[c] = l.Heard, l.Listened(a.stay.Scans), math.NaN(), math.NaN()
			if l.Heard > 0 {
				r.level[c], low[c] = l.MeanDBm, l.MinDBm
			}
		}
	}
	r.floors(low)
	r.places()
	return r
}

// floors sets the lowest level that each receiver ever reported in each band.
func (r *rows) floors(low []float64) {
	type key struct {
		band radio.Band
		recv int
	}
	least := map[key]float64{}
	for c, v := range low {
		k := key{r.band(c / r.n), r.receiver[c%r.n]}
		if have, ok := least[k]; !math.IsNaN(v) && (!ok || v < have) {
			least[k] = v
		}
	}
	r.floorDBm = make([]float64, len(low))
	for c := range low {
		v, ok := least[key{r.band(c / r.n), r.receiver[c%r.n]}]
		if !ok {
			v = radio.MinDBm
		}
		r.floorDBm[c] = v
	}
}

// places numbers the places: rows within stayedM of the first of a place share it.
func (r *rows) places() {
	r.place = make([]int, r.n)
	var first []int
	for i := range r.n {
		at := slices.IndexFunc(first, func(j int) bool { return r.floor[i] == r.floor[j] && distance(r.at[i], r.at[j]) <= stayedM })
		if at < 0 {
			at = len(first)
			first = append(first, i)
		}
		r.place[i] = at
	}
}

func (r *rows) band(k int) radio.Band {
	return r.site.AccessPoints[r.refs[k].AP].Radios[r.refs[k].Radio].Band
}

func (r *rows) antenna(k int) *site.Antenna {
	return r.site.AccessPoints[r.refs[k].AP].Radios[r.refs[k].Radio].Antenna
}

// listens reports whether radio k can be heard at all: it has a BSSID.
func (r *rows) listens(k int) bool {
	return len(r.site.AccessPoints[r.refs[k].AP].Radios[r.refs[k].Radio].BSSIDs) > 0
}

// clone copies what a correction may change.
func (r *rows) clone() *rows {
	c := *r
	c.at, c.out, c.level, c.listened = slices.Clone(r.at), slices.Clone(r.out), slices.Clone(r.level), slices.Clone(r.listened)
	return &c
}

// thin averages rows of one receiver that lie within a metre of each other and
// near each other in time, then two metres, until at most most rows are left or
// no two are so near. Bookends stay apart, because they are far apart in time.
func (r *rows) thin(most int) *rows {
	out := r
	for _, within := range []float64{0.5, 1, 1.5, 2} {
		if out.n <= most {
			return out
		}
		out = r.merge(within)
	}
	return out
}

func (r *rows) merge(within float64) *rows {
	var groups [][]int
	reach := max(r.n/10, 10)
	for i := range r.n {
		best, near := -1, within
		for g, rows := range groups {
			last := rows[len(rows)-1]
			if r.floor[last] != r.floor[i] || r.receiver[last] != r.receiver[i] || r.names[last].Walk != r.names[i].Walk || i-last > reach {
				continue
			}
			if d := distance(r.at[rows[0]], r.at[i]); d <= near {
				best, near = g, d
			}
		}
		if best < 0 {
			groups = append(groups, []int{i})
		} else {
			groups[best] = append(groups[best], i)
		}
	}
	m := &rows{site: r.site, refs: r.refs, n: len(groups), merged: len(groups) < r.n || r.merged, receivers: r.receivers}
	m.out = make([]bool, m.n)
	cells := m.n * len(m.refs)
	m.level, m.heard, m.listened, m.floorDBm = make([]float64, cells), make([]int, cells), make([]int, cells), make([]float64, cells)
	for g, rows := range groups {
		var at orb.Point
		for _, i := range rows {
			at[0] += r.at[i][0] / float64(len(rows))
			at[1] += r.at[i][1] / float64(len(rows))
		}
		m.at, m.floor = append(m.at, at), append(m.floor, r.floor[rows[0]])
		m.receiver, m.names = append(m.receiver, r.receiver[rows[0]]), append(m.names, r.names[rows[0]])
		for k := range m.refs {
			c, sum, heard := k*m.n+g, 0.0, 0
			for _, i := range rows {
				from := k*r.n + i
				m.listened[c] += r.listened[from]
				m.floorDBm[c] = r.floorDBm[from]
				if r.heard[from] > 0 {
					m.heard[c] += r.heard[from]
					sum += r.level[from]
					heard++
				}
			}
			m.level[c] = math.NaN()
			if heard > 0 {
				m.level[c] = sum / float64(heard)
			}
		}
	}
	m.places()
	return m
}

// called is how the place of row i is named.
func (r *rows) called(i int) string {
	if p := r.names[i].Point; p != "" {
		return p
	}
	return fmt.Sprintf("(%.1f, %.1f)", r.names[i].At[0], r.names[i].At[1])
}

func distance(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

// floorFor is the floor of hearing of a cell: where the receiver heard nothing
// of the band, the one that other receivers had, or a common one.
func (r *rows) floorFor(c int) float64 {
	if v := r.floorDBm[c]; v > radio.MinDBm {
		return v
	}
	return commonFloorDBm
}

// commonFloorDBm is a floor of hearing where none was seen (common practice).
const commonFloorDBm = -90
