package radio

// Band is a frequency band of IEEE 802.11, named as engineers say it in GHz.
type Band string

// The bands in which access points of a WLAN stand.
const (
	Band2 Band = "2.4"
	Band5 Band = "5"
	Band6 Band = "6"
)

// Bands lists every band in ascending frequency.
func Bands() []Band { return []Band{Band2, Band5, Band6} }

// Valid reports whether b is one of [Bands].
func (b Band) Valid() bool { return b == Band2 || b == Band5 || b == Band6 }

// BandOf gives the band of a channel centre frequency in MHz: 2.4 GHz 2401 to
// 2495, 5 GHz 5150 to 5925, 6 GHz from 5926 to 7125 (IEEE 802.11-2020 Annex E,
// IEEE 802.11ax-2021 27.3.23.2). The second result is false elsewhere.
//
// A 5 GHz channel 177 is centred on 5885 MHz and the first of 6 GHz (channel
// 2 of operating class 136) on 5935 MHz, so the edge between them is free.
func BandOf(freqMHz int) (Band, bool) {
	switch {
	case 2401 <= freqMHz && freqMHz <= 2495:
		return Band2, true
	case 5150 <= freqMHz && freqMHz <= 5925:
		return Band5, true
	case 5925 < freqMHz && freqMHz <= 7125:
		return Band6, true
	}
	return "", false
}

// Channel gives the channel number of a 20 MHz centre frequency in MHz:
// 2407 + 5c (channel 14 is 2484), 5000 + 5c, 5950 + 5c (channel 2 is 5935)
// (IEEE 802.11ax-2021 27.3.23.2). The second result is false where no channel
// has that centre.
func Channel(freqMHz int) (int, bool) {
	band, ok := BandOf(freqMHz)
	if !ok {
		return 0, false
	}
	switch {
	case freqMHz == 2484:
		return 14, true
	case freqMHz == 5935:
		return 2, true
	case band == Band2:
		c := freqMHz - 2407
		return c / 5, c%5 == 0 && 1 <= c/5 && c/5 <= 13
	case band == Band5:
		return (freqMHz - 5000) / 5, freqMHz%5 == 0
	default:
		c := freqMHz - 5950
		return c / 5, c%5 == 0 && c > 0
	}
}

// TypicalMHz is a frequency that stands for the band where none is known:
// channel 6, 36 and 37.
func (b Band) TypicalMHz() int {
	switch b {
	case Band2:
		return 2437
	case Band6:
		return 6135
	default:
		return 5180
	}
}
