package radio_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"footrule/internal/radio"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type channel struct {
	band   string
	number int
	freq   int
}

// channels reads the published channel table; its sources stand in the file.
func channels(t *testing.T) []channel {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "radio", "channels.csv"))
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"band", "channel", "width_mhz", "centre_mhz"}, rows[0])
	var out []channel
	for _, row := range rows[1:] {
		number, err := strconv.Atoi(row[1])
		require.NoError(t, err)
		freq, err := strconv.Atoi(row[3])
		require.NoError(t, err)
		out = append(out, channel{row[0], number, freq})
	}
	require.Len(t, out, 14+28+60+4)
	return out
}

func TestChannelsAgainstTable(t *testing.T) {
	for _, c := range channels(t) {
		band, inBand := radio.BandOf(c.freq)
		number, ok := radio.Channel(c.freq)
		if !radio.Band(c.band).Valid() {
			assert.False(t, inBand || ok, "%d MHz is in no band of a WLAN", c.freq)
			continue
		}
		assert.Equal(t, channel{c.band, c.number, c.freq}, channel{string(band), number, c.freq})
		assert.True(t, inBand && ok, "%d MHz", c.freq)
	}
}

// Every frequency that is no centre in the table is refused, but for the three
// 5 GHz channels that Annex E has and the table has not.
func TestChannelRefuses(t *testing.T) {
	known := map[int]bool{5160: true, 5340: true, 5480: true}
	for _, c := range channels(t) {
		known[c.freq] = true
	}
	for freq := -10; freq < 8000; freq++ {
		if _, ok := radio.Channel(freq); ok {
			assert.True(t, known[freq], "%d MHz has no 20 MHz channel", freq)
		}
	}
}

func TestBandEdges(t *testing.T) {
	tests := []struct {
		freq int
		want radio.Band
	}{
		{2400, ""}, {2401, radio.Band2}, {2495, radio.Band2}, {2496, ""},
		{5149, ""}, {5150, radio.Band5}, {5925, radio.Band5},
		{5926, radio.Band6}, {7125, radio.Band6}, {7126, ""}, {0, ""}, {-2412, ""},
	}
	for _, tt := range tests {
		got, ok := radio.BandOf(tt.freq)
		assert.Equal(t, tt.want, got, "%d MHz", tt.freq)
		assert.Equal(t, tt.want != "", ok, "%d MHz", tt.freq)
	}
}

func TestBands(t *testing.T) {
	assert.Equal(t, []radio.Band{"2.4", "5", "6"}, radio.Bands())
	last := 0
	for _, b := range radio.Bands() {
		assert.True(t, b.Valid())
		got, ok := radio.BandOf(b.TypicalMHz())
		assert.True(t, ok)
		assert.Equal(t, b, got)
		_, ok = radio.Channel(b.TypicalMHz())
		assert.True(t, ok, "%d MHz is a channel", b.TypicalMHz())
		assert.Greater(t, b.TypicalMHz(), last)
		last = b.TypicalMHz()
	}
	assert.False(t, radio.Band("").Valid())
	assert.False(t, radio.Band("2,4").Valid())
	assert.False(t, radio.Band("60").Valid())
}
