package grouping_test

import (
	"testing"

	"footrule/internal/radio"
	"footrule/internal/radio/grouping"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func id(t testing.TB, s string) radio.BSSID {
	t.Helper()
	b, err := radio.ParseBSSID(s)
	require.NoError(t, err)
	return b
}

// The set of IEEE 802.11-2020, 9.4.2.45: 2ⁿ BSSIDs that differ in the n low bits alone.
func TestMultipleBSSIDHas(t *testing.T) {
	for name, tc := range map[string]struct {
		n    int
		a, b string
		want bool
	}{
		"itself":                {1, "02:00:5e:00:00:08", "02:00:5e:00:00:08", true},
		"first of its block":    {3, "02:00:5e:00:00:0d", "02:00:5e:00:00:08", true},
		"last of its block":     {3, "02:00:5e:00:00:0d", "02:00:5e:00:00:0f", true},
		"next block":            {3, "02:00:5e:00:00:0d", "02:00:5e:00:00:10", false},
		"block before":          {3, "02:00:5e:00:00:0d", "02:00:5e:00:00:07", false},
		"same low bits":         {3, "02:00:5e:00:00:0d", "02:00:5e:00:01:0d", false},
		"whole last octet":      {8, "02:00:5e:00:00:0d", "02:00:5e:00:00:ff", true},
		"none is no set":        {0, "02:00:5e:00:00:0d", "02:00:5e:00:00:0d", false},
		"more than it can have": {9, "02:00:5e:00:00:0d", "02:00:5e:00:00:0d", false},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, tc.want, grouping.MultipleBSSID{Transmitted: id(t, tc.a), MaxIndicator: tc.n}.Has(id(t, tc.b)))
		})
	}
}

// A set has 2ⁿ members, each of which makes the same set.
func TestMultipleBSSIDSize(t *testing.T) {
	for n := 1; n <= 8; n++ {
		m := grouping.MultipleBSSID{Transmitted: radio.BSSID{2, 0, 0x5e, 0, 0, 0x5a}, MaxIndicator: n}
		size := 0
		for last := range 256 {
			b := radio.BSSID{2, 0, 0x5e, 0, 0, byte(last)}
			if m.Has(b) {
				size++
				assert.True(t, grouping.MultipleBSSID{Transmitted: b, MaxIndicator: n}.Has(m.Transmitted))
			}
		}
		assert.Equal(t, 1<<n, size)
	}
}
