package walk

import (
	"slices"

	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// Split says what one stay is: a whole visit, or one facing of it.
type Split int

// The two ways to cut a walk into stays.
const (
	ByVisit Split = iota
	ByFacing
)

// Stay is the levels of every radio of a site during one visit, or during one
// facing of it.
type Stay struct {
	Walk, Visit string
	Point       string // may be empty; see Key
	Floor       int    // index into Site.Floors
	At          orb.Point
	FacingDeg   float64 // NoFacing for a whole visit
	Scans       int
	Levels      []Level // one per radio, in the order of Site.Radios
}

// Level is what one stay says of one radio.
type Level struct {
	Heard   int     // scans that heard the radio, 0 to Stay.Scans
	Deaf    int     // scans that did not listen on its channel, so that their silence says nothing
	MeanDBm float64 // arithmetic mean in dB over the scans that heard; 0 where Heard is 0
	SumSqDB float64 // Σ (reading − MeanDBm)² over those scans, dB²
	MinDBm  float64 // the lowest of them; 0 where Heard is 0
}

// Listened is how many of a stay's scans could have heard the radio.
func (l Level) Listened(scans int) int { return max(scans-l.Deaf, l.Heard) }

// Place identifies where a stay was made: stays with equal places are never
// parted between training and judging.
type Place struct {
	Floor int
	Point string
	At    orb.Point // zero where Point is set
}

// Place gives the stay's place: its point where it has one, else the coordinates.
func (s *Stay) Place() Place {
	if s.Point != "" {
		return Place{Floor: s.Floor, Point: s.Point}
	}
	return Place{Floor: s.Floor, At: s.At}
}

// Stays turns the standing visits of walks into levels. Readings of the BSSIDs
// of one radio in one scan are one reading of it (their mean in dB); BSSIDs
// that are on no radio of the site are passed over. With ByFacing each facing
// of a visit is a stay of its own, in ascending facing; scans without a facing
// form one. Visits on a floor that the site does not have, and visits without a
// scan, are passed over: they say nothing, not even silence. A scan of some
// channels is deaf to the radios of others; see channels.
func Stays(s *site.Site, walks []Walk, split Split) []Stay {
	radioOf := s.RadioOf()
	n := len(s.Radios())
	sum := make([]float64, n) // per radio within one scan
	cnt := make([]int, n)
	touched := make([]int, 0, n)
	on := channelsOf(walks, radioOf, n)
	var out []Stay
	for wi := range walks {
		for _, v := range walks[wi].Standing() {
			floor := s.FloorIndex(v.Floor)
			if floor < 0 || len(v.Scans) == 0 {
				continue
			}
			facings := []float64{NoFacing}
			if split == ByFacing {
				facings = facings[:0]
				for _, sc := range v.Scans {
					if !slices.Contains(facings, sc.FacingDeg) {
						facings = append(facings, sc.FacingDeg)
					}
				}
				slices.Sort(facings)
			}
			for _, facing := range facings {
				st := Stay{Walk: walks[wi].ID, Visit: v.ID, Point: v.Point, Floor: floor, At: v.At, FacingDeg: facing, Levels: make([]Level, n)}
				for _, sc := range v.Scans {
					if split == ByFacing && sc.FacingDeg != facing {
						continue
					}
					st.Scans++
					touched = touched[:0]
					for _, r := range sc.Readings {
						k, ok := radioOf[r.BSSID]
						if !ok {
							continue
						}
						if cnt[k] == 0 {
							touched = append(touched, k)
						}
						sum[k] += r.RSSIDBm
						cnt[k]++
					}
					for _, k := range touched {
						st.Levels[k].add(sum[k] / float64(cnt[k]))
						sum[k], cnt[k] = 0, 0
					}
					for k := range st.Levels {
						if on != nil && len(sc.FreqsMHz) > 0 && !slices.Contains(touched, k) && !on[k].listened(&sc) {
							st.Levels[k].Deaf++
						}
					}
				}
				out = append(out, st)
			}
		}
	}
	return out
}

// add takes one more reading (Welford's recurrence).
func (l *Level) add(x float64) {
	if l.Heard == 0 || x < l.MinDBm {
		l.MinDBm = x
	}
	l.Heard++
	d := x - l.MeanDBm
	l.MeanDBm += d / float64(l.Heard)
	l.SumSqDB += d * (x - l.MeanDBm)
}
