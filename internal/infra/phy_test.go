package infra_test

import (
	"testing"

	"footrule/internal/infra"
	"footrule/internal/site"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Rates as the tables of IEEE 802.11 print them, in Mbit/s (802.11-2020 tables
// 17-4, 19-27 ff., 21-29 ff.; 802.11ax-2021 tables 27-54 ff.; 802.11be 36.5),
// with the shortest guard interval.
func TestRate(t *testing.T) {
	for _, c := range []struct {
		std                 site.Standard
		width, streams, mcs int
		mbps                float64
	}{
		{"802.11a", 20, 1, 6, 54},
		{"802.11g", 20, 1, 6, 54},
		{"802.11n", 20, 1, 7, 72.2222},
		{"802.11n", 20, 1, 0, 7.2222},
		{"802.11n", 40, 2, 7, 300},
		{"802.11n", 40, 3, 7, 450},
		{"802.11n", 40, 4, 7, 600},
		{"802.11ac", 80, 1, 9, 433.3333},
		{"802.11ac", 80, 2, 9, 866.6667},
		{"802.11ac", 80, 3, 9, 1300},
		{"802.11ac", 80, 4, 9, 1733.3333},
		{"802.11ac", 160, 2, 9, 1733.3333},
		{"802.11ac", 160, 8, 9, 6933.3333},
		{"802.11ax", 20, 2, 11, 286.7647},
		{"802.11ax", 80, 1, 11, 600.4902},
		{"802.11ax", 80, 2, 11, 1200.9804},
		{"802.11ax", 80, 4, 11, 2401.9608},
		{"802.11ax", 160, 2, 11, 2401.9608},
		{"802.11ax", 160, 4, 11, 4803.9216},
		{"802.11be", 160, 2, 13, 2882.3529},
		{"802.11be", 320, 2, 13, 5764.7059},
	} {
		got, err := infra.Rate(c.std, c.width, c.streams, c.mcs)
		require.NoError(t, err, c)
		assert.InDelta(t, c.mbps, got, 5e-5, c)
	}
}

func TestRateRefuses(t *testing.T) {
	for _, c := range []struct {
		std                 site.Standard
		width, streams, mcs int
		want                string
	}{
		{"802.11x", 20, 1, 0, `no standard "802.11x"`},
		{"802.11n", 80, 1, 7, "802.11n has no channels of 80 MHz"},
		{"802.11ax", 320, 1, 7, "802.11ax has no channels of 320 MHz"},
		{"802.11n", 20, 5, 7, "802.11n has 1 to 4 spatial streams, not 5"},
		{"802.11ac", 80, 0, 7, "802.11ac has 1 to 8 spatial streams, not 0"},
		{"802.11n", 20, 1, 8, "802.11n has no MCS 8 with 20 MHz and 1 streams"},
		{"802.11ax", 20, 1, -1, "802.11ax has no MCS -1 with 20 MHz and 1 streams"},
	} {
		_, err := infra.Rate(c.std, c.width, c.streams, c.mcs)
		assert.EqualError(t, err, c.want)
	}
}

// The combinations that IEEE 802.11-2020 21.5 leaves out of 802.11ac.
func TestRateLeavesOutWhatTheStandardDoes(t *testing.T) {
	out := map[[3]int]bool{{80, 3, 6}: true, {80, 7, 6}: true, {80, 6, 9}: true, {160, 3, 9}: true}
	for _, n := range []int{1, 2, 4, 5, 7, 8} {
		out[[3]int{20, n, 9}] = true
	}
	for _, width := range []int{20, 40, 80, 160} {
		for streams := 1; streams <= 8; streams++ {
			for mcs := range 10 {
				_, err := infra.Rate("802.11ac", width, streams, mcs)
				assert.Equal(t, out[[3]int{width, streams, mcs}], err != nil, "%d MHz, %d streams, MCS %d", width, streams, mcs)
			}
		}
	}
	mbps, mcs, err := infra.TopRate("802.11ac", 20, 2)
	require.NoError(t, err)
	assert.Equal(t, 8, mcs)
	assert.InDelta(t, 173.3333, mbps, 5e-5)
	_, _, err = infra.TopRate("802.11x", 20, 2)
	assert.EqualError(t, err, `no standard "802.11x"`)
}
