package radio_test

import (
	"strings"
	"testing"

	"footrule/internal/radio"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestParseBSSID(t *testing.T) {
	want := radio.BSSID{0x02, 0x00, 0x5e, 0x10, 0xab, 0xff}
	tests := []struct {
		in   string
		want radio.BSSID
		err  string
	}{
		{in: "02:00:5e:10:ab:ff", want: want},
		{in: "02:00:5E:10:AB:FF", want: want},
		{in: "02-00-5e-10-ab-ff", want: want},
		{in: "02:00:5e:10:aB:Ff", want: want},
		{in: "00:00:00:00:00:00", want: radio.BSSID{}},
		{in: "", err: "has 0 characters"},
		{in: "02:00:5e:10:ab", err: "has 14 characters"},
		{in: "02:00:5e:10:ab:ff:01", err: "has 20 characters"},
		{in: " 2:00:5e:10:ab:ff", err: "not six octets"},
		{in: "02:00:5e:10:ab:fg", err: "not six octets"},
		{in: "02:00:5e-10-ab-ff", err: "not six octets"},
		{in: "02:00:5e:10:ab-ff", err: "not six octets"},
		{in: "02.00.5e.10.ab.ff", err: "not six octets"},
		{in: "0200:5e:10:ab:ff:", err: "not six octets"},
		{in: "02:00:5e:10:ab:ff\n", err: "has 18 characters"},
		{in: strings.Repeat("x", 1000), err: "…"},
	}
	for _, tt := range tests {
		got, err := radio.ParseBSSID(tt.in)
		if tt.err != "" {
			require.ErrorContains(t, err, tt.err, "%q", tt.in)
			assert.Less(t, len(err.Error()), 200)
			assert.Zero(t, got)
			continue
		}
		require.NoError(t, err, "%q", tt.in)
		assert.Equal(t, tt.want, got)
	}
}

func FuzzParseBSSID(f *testing.F) {
	f.Add("02:00:5e:10:ab:ff")
	f.Add("02-00-5E-10-AB-FF")
	f.Add("02:00:5e-10:ab:ff")
	f.Fuzz(func(t *testing.T, s string) {
		b, err := radio.ParseBSSID(s)
		if err != nil {
			return
		}
		assert.Equal(t, strings.ToLower(strings.ReplaceAll(s, "-", ":")), b.String())
	})
}

// The two low bits of the first octet: IEEE 802-2014, 8.2.2.
func TestBSSIDBits(t *testing.T) {
	tests := []struct {
		in                 string
		zero, group, local bool
	}{
		{in: "00:00:00:00:00:00", zero: true},
		{in: "ff:ff:ff:ff:ff:ff", group: true, local: true},
		{in: "01:00:5e:00:00:01", group: true},
		{in: "02:00:5e:10:00:01", local: true},
		{in: "00:00:5e:00:53:01"},
	}
	for _, tt := range tests {
		b, err := radio.ParseBSSID(tt.in)
		require.NoError(t, err)
		assert.Equal(t, tt.in, b.String())
		assert.Equal(t, []bool{tt.zero, tt.group, tt.local}, []bool{b.IsZero(), b.Group(), b.Local()}, tt.in)
	}
}
