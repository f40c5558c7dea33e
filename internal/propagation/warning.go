package propagation

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"
)

// What a practitioner would doubt (METHODS section 2; common practice).
const (
	leastExponent = 1.5
	mostExponent  = 6.0
	mostSigmaDB   = 12.0
	fewPlaces     = 8
	differingSD   = 0.25
	byChance      = 0.003
	lineWidth     = 0.03 // rms distance from the best line over the length along it
)

// doubt adds the warnings that concern the estimates.
func (f *Fit) doubt(d *Data, fits []*groupFit) {
	say := func(radio, format string, args ...any) {
		f.Warnings = append(f.Warnings, Warning{Radio: radio, Text: fmt.Sprintf(format, args...)})
	}
	for gi, b := range fits {
		g := &f.Groups[gi]
		if n := g.Exponent.Est; !(n >= leastExponent && n <= mostExponent) {
			say("", "the exponent at %s GHz is %.2f, outside %.1f to %.0f; check the plan's scale, the access points' places and their BSSIDs", b.band, n, leastExponent, mostExponent)
		}
		if g.SigmaDB.Est > mostSigmaDB {
			say("", "the spread at %s GHz is %.1f dB, above %.0f dB; check labels and places, and draw the walls that are missing", b.band, g.SigmaDB.Est, mostSigmaDB)
		}
		if d := b.differ; d.sd >= differingSD && d.chance < byChance {
			say("", "the exponents of the radios at %s GHz differ by %.1f (standard deviation), more than chance; give each its own (per-ap), or draw them together (pooled)", b.band, d.sd)
		}
		for j, m := range b.walls {
			if at := b.wallAt(j); b.opt.active[at] && !b.fixed[at] {
				say("", "the loss of %s at %s GHz came out below zero and was set to 0 dB; check where the walls stand", d.Materials[m], b.band)
			}
		}
		for k, r := range b.radios {
			name := f.Radios[r].Name
			places, ratio := b.spread(k, d)
			if places < fewPlaces {
				say(name, "heard at %d %s, fewer than %d; walk more points near it", places, plural(places, "place"), fewPlaces)
			}
			if places > 1 && ratio < oneDistance {
				say(name, "all %d places that heard it are at nearly one distance (largest %.2f times the smallest); walk points nearer and farther", places, ratio)
			}
			if b.perAP && !b.fixed[b.blocks+k] {
				switch n := b.theta[b.blocks+k]; {
				case b.opt.active[b.blocks+k]:
					say(name, "level does not fall with distance: its exponent came out below zero and was set to 0; check where it hangs and its BSSIDs")
				case n < leastExponent || n > mostExponent:
					say(name, "its exponent is %.2f, outside %.1f to %.0f; check where it hangs and its BSSIDs", n, leastExponent, mostExponent)
				}
			}
		}
	}
	for k := range f.Radios {
		if f.groupOf[k] >= 0 {
			continue
		}
		heard, listened := false, 0
		for i, m := range d.Scans {
			l := d.Levels[i*d.Radios+k]
			heard = heard || l.Heard > 0
			if l.Listened(m) > 0 {
				listened++
			}
		}
		switch {
		case heard:
		case listened == 0:
			say(f.Radios[k].Name, "never heard, and no scan of %d stays is known to have listened on its channel; it stays out of the fit: take scans of all channels", d.Stays())
		default:
			say(f.Radios[k].Name, "never heard in %d stays; it stays out of the fit: check its power, its BSSIDs and where it hangs", listened)
		}
	}
	if w, ok := onLine(d, f); ok {
		say("", "points and access points lie on one line (%.1f m rms from it), so a place on one side cannot be told from the other; walk points off the line", w)
	}
}

// onLine reports whether all places and the access points in the fit lie on
// one line, and their rms distance from it in metres.
func onLine(d *Data, f *Fit) (float64, bool) {
	var pts []orb.Point
	floor := -1
	for i := range d.Scans {
		if floor >= 0 && d.Floor[i] != floor {
			return 0, false
		}
		floor = d.Floor[i]
		pts = append(pts, d.At[i])
	}
	for k, r := range f.Radios {
		if f.groupOf[k] >= 0 {
			pts = append(pts, d.Site.AccessPoints[r.Ref.AP].At)
		}
	}
	if len(pts) < 4 {
		return 0, false
	}
	var mx, my float64
	for _, p := range pts {
		mx += p[0] / float64(len(pts))
		my += p[1] / float64(len(pts))
	}
	var xx, xy, yy float64
	for _, p := range pts {
		xx += (p[0] - mx) * (p[0] - mx)
		xy += (p[0] - mx) * (p[1] - my)
		yy += (p[1] - my) * (p[1] - my)
	}
	mid, r := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	n := float64(len(pts))
	along, off := math.Sqrt((mid+r)/n), math.Sqrt(max(mid-r, 0)/n)
	return off, along > 0 && off < lineWidth*along
}

func plural(n int, noun string) string {
	if n == 1 {
		return noun
	}
	return noun + "s"
}
