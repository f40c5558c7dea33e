package walk

import (
	"fmt"
	"math"
	"strings"

	"footrule/internal/median"
	"footrule/internal/radio"
	"footrule/internal/site"

	"gonum.org/v1/gonum/stat/distuv"
)

// MinOffsetPlaces is how many shared places an offset needs: with fewer its
// standard error says next to nothing.
const MinOffsetPlaces = 3

// offsetMarginDB keeps radios out that a receiver hears near its floor, where
// it reports only their better moments. It is asked of the mean of both levels
// above both floors, not of each, because choosing by one level would bias the
// difference: 10 dB are some three sds of scatter and body (common practice).
const offsetMarginDB = 10

// highestFloorDBm bounds the floors: a receiver whose lowest level is above it
// was not anywhere where it heard less. A receiver of IEEE 802.11 has to receive
// 6 Mb/s in 20 MHz at −82 dBm (IEEE 802.11-2020, 17.3.10.2, from memory).
const highestFloorDBm = -82

// OffsetEstimate is how much more one receiver reports than another.
type OffsetEstimate struct {
	OffsetDB   float64 // mean over places of d_p
	SEDB       float64 // its standard error
	LoDB, HiDB float64 // 95 % interval

	Places int // shared, P
	Radios int // heard well by both at one of them at least
	Pairs  int // of levels that were compared

	PerPlace []PlaceOffset
}

// PlaceOffset is d_p of one place.
type PlaceOffset struct {
	Place  Place
	Radios int
	DiffDB float64 // median over its radios
}

// SharedPlacesError says that two receivers share too few places.
type SharedPlacesError struct {
	Shared, Need int
	// OnlyA and OnlyB are the points that one of them has walked and the other
	// not, or without hearing a radio well that the other heard well.
	OnlyA, OnlyB []string
}

// Error gives the counts and which points to walk.
func (e *SharedPlacesError) Error() string {
	s := fmt.Sprintf("%d shared places where %d are needed", e.Shared, e.Need)
	if e.Shared == 1 {
		s = fmt.Sprintf("1 shared place where %d are needed", e.Need)
	}
	if len(e.OnlyA)+len(e.OnlyB) == 0 {
		return s + "; walk the same points with both"
	}
	var parts []string
	if len(e.OnlyA) > 0 {
		parts = append(parts, "the first has walked "+some(e.OnlyA))
	}
	if len(e.OnlyB) > 0 {
		parts = append(parts, "the second has walked "+some(e.OnlyB))
	}
	return s + "; walk these points with both: " + strings.Join(parts, ", ")
}

// some lists up to six names.
func some(names []string) string {
	if len(names) <= 6 {
		return strings.Join(names, " ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:6], " "), len(names)-6)
}

// Offset estimates how much more the receiver of walks a reports than that of
// walks b. With ā_pk and b̄_pk the mean levels of radio k at the place p, over the
// scans that heard it,
//
//	d_p = median over k of (ā_pk − b̄_pk)
//	offset = Σ d_p / P,  SE = sd(d_p) / √P,  offset ± t(0.975, P − 1) SE
//
// so that places, not readings, are what is counted: the levels of one stay
// share where exactly somebody stood and faced. A radio counts at a place where
// each receiver heard it in at least half of its scans there, and well above both
// floors, a floor being the lowest level that the receiver reported in the band,
// and at most −82 dBm.
//
//  1. Offset(a, b) is −Offset(b, a).
//  2. Adding x dB to every reading of a adds x to the offset and leaves SE, as
//     long as the same radios count.
//  3. With fewer than [MinOffsetPlaces] shared places it is a
//     [*SharedPlacesError].
//
// The interval holds for the time of the walks: what a receiver drifts from
// one walk to the next is not in it.
func Offset(s *site.Site, a, b []Walk) (OffsetEstimate, error) {
	la, lb := levelsByPlace(s, a), levelsByPlace(s, b)
	fa, fb := floors(s, la), floors(s, lb)
	refs := s.Radios()
	var est OffsetEstimate
	seen := make([]bool, len(refs))
	shared := map[Place]bool{}
	for _, p := range la.order {
		x, y := la.at[p], lb.at[p]
		if y == nil {
			continue
		}
		var diff []float64
		for k := range refs {
			u, v := x.levels[k], y.levels[k]
			if u.Heard == 0 || v.Heard == 0 || 2*u.Heard < x.scans || 2*v.Heard < y.scans {
				continue
			}
			band := s.AccessPoints[refs[k].AP].Radios[refs[k].Radio].Band
			if (u.MeanDBm-fa[band]+v.MeanDBm-fb[band])/2 < offsetMarginDB {
				continue
			}
			diff = append(diff, u.MeanDBm-v.MeanDBm)
			if !seen[k] {
				seen[k] = true
				est.Radios++
			}
		}
		if len(diff) == 0 {
			continue
		}
		shared[p] = true
		est.Pairs += len(diff)
		est.PerPlace = append(est.PerPlace, PlaceOffset{Place: p, Radios: len(diff), DiffDB: median.Of(diff)})
	}
	est.Places = len(est.PerPlace)
	if est.Places < MinOffsetPlaces {
		return OffsetEstimate{}, &SharedPlacesError{Shared: est.Places, Need: MinOffsetPlaces,
			OnlyA: la.names(s, shared), OnlyB: lb.names(s, shared)}
	}
	n := float64(est.Places)
	for _, p := range est.PerPlace {
		est.OffsetDB += p.DiffDB / n
	}
	ss := 0.0
	for _, p := range est.PerPlace {
		ss += (p.DiffDB - est.OffsetDB) * (p.DiffDB - est.OffsetDB)
	}
	est.SEDB = math.Sqrt(ss / (n - 1) / n)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 1}.Quantile(0.975)
	est.LoDB, est.HiDB = est.OffsetDB-t*est.SEDB, est.OffsetDB+t*est.SEDB
	return est, nil
}

// placeLevels are the levels of every radio at one place, over all stays there.
type placeLevels struct {
	scans  int
	levels []Level
}

type byPlace struct {
	order []Place // of first stays
	at    map[Place]*placeLevels
}

func levelsByPlace(s *site.Site, walks []Walk) byPlace {
	out := byPlace{at: map[Place]*placeLevels{}}
	for _, st := range Stays(s, walks, ByVisit) {
		p := st.Place()
		pl := out.at[p]
		if pl == nil {
			pl = &placeLevels{levels: make([]Level, len(st.Levels))}
			out.at[p] = pl
			out.order = append(out.order, p)
		}
		pl.scans += st.Scans
		for k, l := range st.Levels {
			if l.Heard == 0 {
				continue
			}
			have := &pl.levels[k]
			if have.Heard == 0 || l.MinDBm < have.MinDBm {
				have.MinDBm = l.MinDBm
			}
			have.Heard += l.Heard
			have.MeanDBm += (l.MeanDBm - have.MeanDBm) * float64(l.Heard) / float64(have.Heard)
		}
	}
	return out
}

// floors gives the floor of hearing in each band.
func floors(s *site.Site, b byPlace) map[radio.Band]float64 {
	out := map[radio.Band]float64{}
	for _, b := range radio.Bands() {
		out[b] = highestFloorDBm
	}
	for _, pl := range b.at {
		for k, r := range s.Radios() {
			band := s.AccessPoints[r.AP].Radios[r.Radio].Band
			if l := pl.levels[k]; l.Heard > 0 {
				out[band] = min(out[band], l.MinDBm)
			}
		}
	}
	return out
}

// names lists the places that are not shared, in the order they were walked.
func (b byPlace) names(s *site.Site, shared map[Place]bool) []string {
	var out []string
	for _, p := range b.order {
		if shared[p] {
			continue
		}
		name := p.Point
		if name == "" {
			name = fmt.Sprintf("(%g, %g)", p.At[0], p.At[1])
		}
		if len(s.Floors) > 1 {
			name = s.Floors[p.Floor].ID + "/" + name
		}
		out = append(out, name)
	}
	return out
}
