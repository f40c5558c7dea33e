package grouping

import (
	"fmt"
	"math"
	"math/bits"

	"footrule/internal/median"
	"footrule/internal/radio"
	"footrule/internal/say"
)

// EvidenceKind says what a piece of evidence rests on.
type EvidenceKind string

// The kinds of evidence.
const (
	Channel  EvidenceKind = "channel"  // one radio is on one channel at a time
	Address  EvidenceKind = "address"  // patterns of addresses in wide use (common practice)
	Set      EvidenceKind = "set"      // one multiple-BSSID set (IEEE 802.11-2020, 9.4.2.45)
	Levels   EvidenceKind = "levels"   // difference of levels, scan by scan
	Together EvidenceKind = "together" // heard and missed in the same scans
	SSID     EvidenceKind = "ssid"     // names
	ByPlace  EvidenceKind = "by place" // mean levels of two radios, place by place
)

// Evidence is one reason for or against, with the number that it rests on.
type Evidence struct {
	Kind   EvidenceKind
	Weight float64 // above 0 for, below 0 against; −Inf rules it out
	N      int     // scans, places or bits that it was counted over
	Value  float64 // share, bits, dB or address distance; NaN where there is none
	Text   string  // in words, with the numbers
}

// MultipleBSSID is a multiple-BSSID set as a beacon announces it: with n the
// MaxBSSID Indicator, 2ⁿ BSSIDs whose 48−n high bits are those of the
// transmitted one (IEEE 802.11-2020, 9.4.2.45).
type MultipleBSSID struct {
	Transmitted  radio.BSSID
	MaxIndicator int // n, 1 to 8
}

// MaxIndicatorMost keeps the set within the last octet.
const MaxIndicatorMost = 8

// Has reports whether b can be in the set. It is false for an n that is not 1
// to [MaxIndicatorMost].
func (m MultipleBSSID) Has(b radio.BSSID) bool {
	if m.MaxIndicator < 1 || m.MaxIndicator > MaxIndicatorMost {
		return false
	}
	return (number(m.Transmitted)^number(b))>>m.MaxIndicator == 0
}

func number(b radio.BSSID) uint64 {
	var n uint64
	for _, o := range b {
		n = n<<8 | uint64(o)
	}
	return n
}

// firstOctetBits are the bits of the first octet that makers vary from BSS to
// BSS: the local bit and the rest of the low nibble but for the group bit
// (common practice).
const firstOctetBits = 0x0e

// Weights of evidence, set by judgement so that no address pattern suffices by
// itself, levels that were compared at many places do, and a standard's set
// outweighs whatever is merely usual. The score is 1/(1+e^−Σ),
// at most 0.99.
const (
	priorRadio = -4.0 // most pairs of BSSIDs are not one radio
	priorAP    = -3.0

	channelSame   = 1.5
	channelOther  = -3.0 // at different times; a radio may have changed its channel between
	addressNear   = 3.0  // 4 low bits of the last octet, or the first octet
	addressOctet  = 1.0  // last octet
	addressFar    = -3.0
	inSet         = 6.0
	levelsTight   = 4.0
	levelsMany    = 2.0 // more, where tight over manyPlaces
	levelsLoose   = 1.0
	levelsWide    = -2.0
	levelsApart   = -5.0
	togetherOften = 1.0
	togetherSome  = -1.0
	togetherNever = -4.0
	ssidTwice     = -2.0 // a radio rarely sends one SSID twice (common practice)
	ssidShared    = 1.0
	ssidNone      = -1.0
	placesTight   = 3.0
	placesLoose   = 0.0
	placesWide    = -2.5
	placesApart   = -4.0
	bandTwice     = -1.5 // most access points have one radio a band (common practice)
	octetsSame    = 2.0
	octetsNear    = 1.0 // more, for a distance of at most 16
	octetsFar     = -2.0
)

// Limits on median absolute differences. Two BSSs of one radio differ by
// rounding and a little scatter; different radios by at least their own
// scatter, 2 to 4 dB a scan (common practice), which makes a median absolute
// difference of 0.67·√2 times as much, and by their shadowing.
const (
	tightDB = 1.25
	looseDB = 2.0
	wideDB  = 3.0

	fewScans   = 4  // below it levels say nothing
	fullScans  = 10 // from here on they have their full weight
	manyPlaces = 8

	// Radios of one access point: they are as far from everywhere as each other,
	// and share part of their shadowing.
	placeTightDB, placeTightR = 4.5, 0.85
	placeLooseDB, placeLooseR = 5.5, 0.75
	placeApartDB, placeApartR = 7.0, 0.5
	fewPlaces                 = 4

	aboveWeakestDB = 8 // a scan counts for Together where a level is so far above the weakest
)

// sum adds the weights.
func sum(prior float64, ev []Evidence) float64 {
	for _, e := range ev {
		prior += e.Weight
	}
	return prior
}

// measured is the sum of what receivers say, without names and addresses.
func measured(ev []Evidence) float64 {
	total := 0.0
	for _, e := range ev {
		switch e.Kind {
		case Channel, Levels, Together:
			total += e.Weight
		}
	}
	return total
}

// highestScore keeps a score from looking certain.
const highestScore = 0.99

// score maps a sum of weights to 0 to highestScore.
func score(sum float64) float64 { return min(highestScore, 1/(1+math.Exp(-sum))) }

// Confidence says a score in a word.
type Confidence string

// The confidences: a score of at least 0.9, of at least 0.7, and below.
const (
	Strong Confidence = "strong"
	Likely Confidence = "likely"
	Weak   Confidence = "weak"
)

func confidence(score float64) Confidence {
	switch {
	case score >= 0.9:
		return Strong
	case score >= 0.7:
		return Likely
	}
	return Weak
}

// oneRadio weighs whether two BSSs are one radio.
func oneRadio(a, b *BSS, sets []MultipleBSSID) []Evidence {
	out := []Evidence{address(a.ID, b.ID)}
	for _, m := range sets {
		if m.Has(a.ID) && m.Has(b.ID) {
			out = append(out, Evidence{Set, inSet, m.MaxIndicator, float64(m.MaxIndicator),
				fmt.Sprintf("both in the multiple-BSSID set of %s, equal but for the low %s", m.Transmitted, say.Count(m.MaxIndicator, "bit"))})
			break
		}
	}
	var diff, la, lb []float64
	places := map[int]bool{}
	same, known, either, both := 0, 0, 0, 0
	strong := max(a.weakestDBm, b.weakestDBm) + aboveWeakestDB
	i, j := 0, 0
	for i < len(a.Samples) || j < len(b.Samples) {
		switch {
		case j == len(b.Samples) || i < len(a.Samples) && a.Samples[i].Scan < b.Samples[j].Scan:
			if a.Samples[i].DBm >= strong {
				either++
			}
			i++
		case i == len(a.Samples) || b.Samples[j].Scan < a.Samples[i].Scan:
			if b.Samples[j].DBm >= strong {
				either++
			}
			j++
		default:
			x, y := a.Samples[i], b.Samples[j]
			i, j = i+1, j+1
			if x.FreqMHz != 0 && y.FreqMHz != 0 {
				known++
				if x.FreqMHz == y.FreqMHz {
					same++
				}
			}
			if x.DBm >= strong || y.DBm >= strong {
				either++
				both++
			}
			diff, la, lb = append(diff, x.DBm-y.DBm), append(la, x.DBm), append(lb, y.DBm)
			places[x.Place] = true
		}
	}
	out = append(out, channels(a, b, same, known), levels(diff, la, lb, len(places)))
	if either >= fewScans {
		e := Evidence{Kind: Together, N: either, Value: float64(both) / float64(either),
			Text: fmt.Sprintf("heard together in %d of %s that heard one of them well", both, say.Count(either, "scan"))}
		switch {
		case e.Value >= 0.8:
			e.Weight = togetherOften
		case e.Value < 0.3:
			e.Weight = togetherNever
		case e.Value < 0.5:
			e.Weight = togetherSome
		}
		out = append(out, e)
	}
	if s := a.ssid(); s != "" && s == b.ssid() {
		out = append(out, Evidence{SSID, ssidTwice, 1, math.NaN(), fmt.Sprintf("both carry %q, which one radio rarely sends twice", s)})
	}
	return out
}

// channels weighs whether two BSSs were on one channel.
func channels(a, b *BSS, same, known int) Evidence {
	e := Evidence{Kind: Channel, N: known}
	if known == 0 {
		e.Value = math.NaN()
		switch {
		case a.FreqMHz == 0 || b.FreqMHz == 0:
			e.Text = "channel unknown"
		case a.FreqMHz == b.FreqMHz:
			e.Weight, e.Text = channelSame, fmt.Sprintf("both on %s, though never in one scan", channelText(a.FreqMHz))
		case a.band() != b.band():
			e.Weight, e.Text = math.Inf(-1), fmt.Sprintf("on %s and %s", channelText(a.FreqMHz), channelText(b.FreqMHz))
		default:
			e.Weight, e.Text = channelOther, fmt.Sprintf("on %s and %s, never in one scan", channelText(a.FreqMHz), channelText(b.FreqMHz))
		}
		return e
	}
	e.Value = float64(same) / float64(known)
	if 2*same >= known {
		e.Weight = channelSame * (2*e.Value - 1)
		e.Text = fmt.Sprintf("on one channel (%s) in %d of %s heard together", channelText(a.FreqMHz), same, say.Count(known, "scan"))
	} else {
		e.Weight = math.Inf(-1)
		e.Text = fmt.Sprintf("on %s and %s, on one channel in %d of %s heard together", channelText(a.FreqMHz), channelText(b.FreqMHz), same, say.Count(known, "scan"))
	}
	return e
}

func channelText(freqMHz int) string {
	band, ok := radio.BandOf(freqMHz)
	if c, have := radio.Channel(freqMHz); ok && have {
		return fmt.Sprintf("channel %d of %s GHz", c, band)
	}
	return fmt.Sprintf("%d MHz", freqMHz)
}

// address weighs the pattern of two addresses of one radio (common practice).
func address(a, b radio.BSSID) Evidence {
	x := number(a) ^ number(b)
	low := bits.Len64(x)
	e := Evidence{Kind: Address, N: low, Value: float64(low)}
	switch {
	case low <= 4:
		e.Weight, e.Text = addressNear, fmt.Sprintf("addresses equal but for the low %s", say.Count(low, "bit"))
	case low <= 8:
		e.Weight, e.Text = addressOctet, fmt.Sprintf("addresses equal but for the last octet, in its low %s", say.Count(low, "bit"))
	case x&^(uint64(firstOctetBits)<<40) == 0 && (a.Local() || b.Local()):
		e.N = bits.OnesCount64(x)
		e.Value = float64(e.N)
		e.Weight, e.Text = addressNear, fmt.Sprintf("addresses equal but for the local bit and low nibble of the first octet, in %s", say.Count(e.N, "bit"))
	default:
		e.Weight, e.Text = addressFar, "addresses of no common pattern"
	}
	return e
}

// levels weighs the differences of two BSSs in scans that heard both: their
// median is the offset m, and the median of |d − m| says how constant it is.
func levels(diff, a, b []float64, places int) Evidence {
	n := len(diff)
	e := Evidence{Kind: Levels, N: n, Value: math.NaN()}
	if n < fewScans {
		e.Text = fmt.Sprintf("heard together in %s, too few to compare levels", say.Count(n, "scan"))
		return e
	}
	offset, mad := spread(diff)
	e.Value = mad
	r := correlation(a, b)
	switch {
	case mad <= tightDB:
		e.Weight = levelsTight
		if places >= manyPlaces {
			e.Weight += levelsMany
		}
	case mad <= looseDB:
		e.Weight = levelsLoose
	case mad <= wideDB:
		e.Weight = levelsWide
	default:
		e.Weight = levelsApart
	}
	e.Weight *= min(1, float64(n)/fullScans)
	e.Text = fmt.Sprintf("levels %s apart, median absolute difference from that %.1f dB over %s at %s, %s", dB(math.Abs(offset)), mad, say.Count(n, "scan"), say.Count(places, "place"), rText(r))
	return e
}

func dB(v float64) string { return fmt.Sprintf("%.1f dB", v) }

func rText(r float64) string {
	if math.IsNaN(r) {
		return "no correlation to be had"
	}
	return "correlation " + say.Fixed(r, 2)
}

// spread gives the median of v and the median absolute difference from it.
func spread(v []float64) (mid, mad float64) {
	mid = median.Of(v)
	dev := make([]float64, len(v))
	for i := range v {
		dev[i] = math.Abs(v[i] - mid)
	}
	return mid, median.Of(dev)
}

// correlation is Pearson's r, NaN where a side does not vary or n is below 3.
func correlation(a, b []float64) float64 {
	n := float64(len(a))
	if n < 3 {
		return math.NaN()
	}
	var ma, mb float64
	for i := range a {
		ma, mb = ma+a[i]/n, mb+b[i]/n
	}
	var aa, bb, ab float64
	for i := range a {
		aa, bb, ab = aa+(a[i]-ma)*(a[i]-ma), bb+(b[i]-mb)*(b[i]-mb), ab+(a[i]-ma)*(b[i]-mb)
	}
	if !(aa > 0 && bb > 0) {
		return math.NaN()
	}
	return ab / math.Sqrt(aa*bb)
}
