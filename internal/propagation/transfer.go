package propagation

import (
	"fmt"
	"slices"

	"footrule/internal/median"
	"footrule/internal/radio"
	"footrule/internal/site"
)

// Transfer carries a fit over to another plan: the same building with access
// points moved, added or only planned, or a building like it. Radios that bear the
// name of one in the fit keep what was estimated of it, unless like is true: then
// none do. A radio that the walks could have heard (it has BSSIDs) and never did
// stays out. All others are taken to be typical: their level at 1 m is the median
// of the fit's radios of that band, allowing for the powers and gains that the plans say.
//
// Walls of a material that nothing was heard through, and materials that the fit
// does not know, lose what [WallLossDB] says. The notes say what stands in for
// what.
func (f *Fit) Transfer(s *site.Site, like bool) (*Fit, []string, error) {
	var notes []string
	known := map[string]int{}
	for k := range f.Radios {
		known[f.Radios[k].Name] = k
	}
	refs := s.Radios()
	radios := make([]RadioFit, len(refs))
	planned, unheard, without := 0, 0, map[radio.Band]int{}
	for i, ref := range refs {
		r := &s.AccessPoints[ref.AP].Radios[ref.Radio]
		if k, ok := known[s.RadioName(ref)]; ok && !like {
			if radios[i] = f.Radios[k]; f.Radios[k].InFit {
				continue
			}
			if len(r.BSSIDs) > 0 {
				unheard++
				continue
			}
		}
		typical, ok := f.typical(r)
		if !ok {
			without[r.Band]++
			continue
		}
		radios[i] = typical
		planned++
	}
	if planned > 0 && !like {
		notes = append(notes, fmt.Sprintf("%d of %d radios are not in the fit yet (planned); the median level of their band stands in", planned, len(refs)))
	}
	if unheard > 0 {
		notes = append(notes, fmt.Sprintf("%d of %d radios were never heard in the walks and are left out; check their power and their BSSIDs", unheard, len(refs)))
	}
	for _, b := range radio.Bands() {
		if n := without[b]; n > 0 {
			notes = append(notes, fmt.Sprintf("%d of %d radios are at %s GHz, which the fit does not know, and are left out", n, len(refs), b))
		}
	}
	walls, more := f.wallsOf(s)
	out, err := Assume(s, Options{Model: f.Model, PerAP: f.PerAP}, f.Groups, radios, walls)
	return out, append(notes, more...), err
}

// typical is what a radio like those of its band in the fit would be.
func (f *Fit) typical(r *site.Radio) (RadioFit, bool) {
	var level, relative, exponent, scan, stay []float64
	for k := range f.Radios {
		from := &f.Radios[k]
		if !from.InFit || from.Band != r.Band {
			continue
		}
		own := &f.links.site.AccessPoints[from.Ref.AP].Radios[from.Ref.Radio]
		a := from.Level1m.Est - gainOf(own)
		level, exponent = append(level, a), append(exponent, from.Exponent.Est)
		scan, stay = append(scan, from.ScanMiss), append(stay, from.StayMiss)
		if p := own.TxPowerDBm; p != nil {
			relative = append(relative, a-*p)
		}
	}
	if len(level) == 0 {
		return RadioFit{}, false
	}
	out := RadioFit{InFit: true, Level1m: assumed(median.Of(level) + gainOf(r)), Exponent: assumed(median.Of(exponent)), ScanMiss: median.Of(scan), StayMiss: median.Of(stay)}
	if r.TxPowerDBm != nil && len(relative) > 0 {
		out.Level1m = assumed(median.Of(relative) + *r.TxPowerDBm + gainOf(r))
	}
	return out, true
}

// wallsOf lists the losses of a plan's walls under the fit.
func (f *Fit) wallsOf(s *site.Site) ([]WallLoss, []string) {
	materials := s.Materials()
	if len(s.Floors) > 1 {
		materials = append(materials, Storey)
	}
	var out []WallLoss
	var notes []string
	for _, m := range materials {
		said := false
		for _, g := range f.Groups {
			i := slices.IndexFunc(f.Walls, func(w WallLoss) bool { return w.Material == m && w.Band == g.Band })
			if i >= 0 && (f.Walls[i].Crossed > 0 || f.Walls[i].LossDB.Est > 0) {
				out = append(out, f.Walls[i])
				continue
			}
			loss, what := StoreyDB, "one storey"
			if m != Storey {
				loss, _ = WallLossDB(m, g.Band)
				what = m
			}
			out = append(out, WallLoss{Material: m, Band: g.Band, LossDB: assumed(loss)})
			if !said {
				notes = append(notes, fmt.Sprintf("nothing was heard through %s at %s GHz; %.1f dB stand in (%s)", what, g.Band, loss, sourceOf(m)))
				said = true
			}
		}
	}
	return out, notes
}

func sourceOf(material string) string {
	if material == Storey {
		return "COST 231"
	}
	if _, known := WallLossDB(material, radio.Band5); !known {
		return "a light wall of COST 231"
	}
	return "ITU-R P.2040-3"
}
