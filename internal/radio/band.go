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

// Channel gives the number of the 20 MHz channel (22 MHz for channel 14)
// centred on a frequency in MHz. Centres are 2407 + 5c and 2484 in 2.4 GHz,
// 5000 + 5c in 5 GHz, 5950 + 5c and 5935 (channel 2) in 6 GHz (IEEE
// 802.11-2020 Annex E, IEEE 802.11ax-2021 27.3.23.2). The second result is
// false where no such channel has that centre; centres of wider channels are
// not looked for.
func Channel(freqMHz int) (int, bool) {
	band, ok := BandOf(freqMHz)
	if !ok {
		return 0, false
	}
	c := 0
	switch {
	case freqMHz == 2484:
		return 14, true
	case freqMHz == 5935:
		return 2, true
	case freqMHz%5 != band.startMHz()%5:
		return 0, false
	default:
		c = (freqMHz - band.startMHz()) / 5
	}
	switch band {
	case Band2:
		ok = 1 <= c && c <= 13
	case Band5:
		ok = c%4 == 0 && (32 <= c && c <= 68 || 96 <= c && c <= 144) || c%4 == 1 && 149 <= c && c <= 177
	default:
		ok = c%4 == 1 && 1 <= c && c <= 233
	}
	if !ok {
		return 0, false
	}
	return c, true
}

// startMHz is the channel starting frequency that channel numbers count from.
func (b Band) startMHz() int {
	switch b {
	case Band2:
		return 2407
	case Band5:
		return 5000
	default:
		return 5950
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
