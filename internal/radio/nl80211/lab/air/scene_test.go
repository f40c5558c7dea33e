package air_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"net"
	"path/filepath"
	"testing"

	"footrule/internal/radio"
	"footrule/internal/radio/nl80211"
	"footrule/internal/radio/nl80211/lab/air"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func do(t *testing.T, s *air.Scene, lines ...string) string {
	t.Helper()
	answer := ""
	for _, l := range lines {
		var err error
		answer, err = s.Do(l)
		require.NoError(t, err, l)
	}
	return answer
}

// L = P1 − 10 N log10(d), by hand: 3-4-5 triangle, 10 m, 100 m, nearer than 1 m,
// 6 m away and 8 m above.
func TestLevels(t *testing.T) {
	s := air.NewScene()
	do(t, &s,
		"ap 02:00:5e:10:00:03 freq=5180 at=0.5,0 p1=-47 n=2",
		"ap 02:00:5e:10:00:01 freq=2412 at=10,0 p1=-40 n=3",
		"ap 02:00:5e:10:00:02 freq=2437 at=0,100 p1=-40 n=2.5",
		"ap 02:00:5e:10:00:04 freq=5745 at=3,4 p1=-30 n=2",
		"ap 02:00:5e:10:00:05 freq=5745 level=-99")
	assert.Equal(t, "02:00:5e:10:00:01,2412,-70 02:00:5e:10:00:02,2437,-90 02:00:5e:10:00:03,5180,-47 "+
		"02:00:5e:10:00:04,5745,-44 02:00:5e:10:00:05,5745,-99", do(t, &s, "levels"))
	do(t, &s, "at 3 5", "drop 02:00:5e:10:00:02", "ap 02:00:5e:10:00:05 freq=5180 level=-9")
	assert.Equal(t, "02:00:5e:10:00:01,2412,-68 02:00:5e:10:00:03,5180,-62 02:00:5e:10:00:04,5745,-30 02:00:5e:10:00:05,5180,-9", do(t, &s, "levels"))
	do(t, &s, "clear", "at 0 0", "ap 02:00:5e:10:00:01 freq=2412 at=6,0 above=8 p1=-40 n=3")
	assert.Equal(t, "02:00:5e:10:00:01,2412,-70", do(t, &s, "levels"))
	do(t, &s, "clear")
	assert.Empty(t, do(t, &s, "levels"))
}

// Shadowing has mean 0 and the spread asked for, belongs to the place, and is
// drawn anew by another seed. 2000 draws: five standard errors.
func TestShadow(t *testing.T) {
	s := air.NewScene()
	do(t, &s, "ap 02:00:5e:10:00:01 freq=2412 p1=-60 n=0", "shadow 6", "seed 3")
	sum, squares := 0.0, 0.0
	const n = 2000
	for i := range n {
		do(t, &s, fmt.Sprintf("at %d %g", i%50, float64(i/50)/2))
		v := float64(s.Level(&s.APs[0]) + 60)
		sum += v
		squares += v * v
	}
	sd := math.Sqrt(squares/n - sum/n*sum/n)
	assert.InDelta(t, 0, sum/n, 5*6/math.Sqrt(n))
	assert.InDelta(t, math.Hypot(6, 0.29), sd, 5*6/math.Sqrt(2*n)) // 0.29: rounding to whole dB, 1/√12
	levels := func() (out []int) {
		for x := range 20 {
			do(t, &s, fmt.Sprintf("at %d 1", x))
			out = append(out, s.Level(&s.APs[0]))
		}
		return out
	}
	first := levels()
	assert.Equal(t, first, levels())
	do(t, &s, "seed 4")
	assert.NotEqual(t, first, levels())
}

func TestLoss(t *testing.T) {
	s := air.NewScene()
	do(t, &s, "ap 02:00:5e:10:00:01 freq=2412", "loss 0.2")
	lost := 0
	const n = 5000
	for i := range uint64(n) {
		if s.Lost(&s.APs[0], i) {
			lost++
		}
	}
	assert.InDelta(t, 0.2, float64(lost)/n, 5*math.Sqrt(0.2*0.8/n))
}

func TestDoRefuses(t *testing.T) {
	s := air.NewScene()
	for line, want := range map[string]string{
		"":                                    "empty line",
		"fly":                                 `no command "fly"`,
		"at 3":                                `"at" takes 2 numbers`,
		"at 3 x":                              `"at" takes 2 numbers`,
		"loss 1 2":                            `"loss" takes 1 numbers`,
		"drop":                                "drop takes a BSSID",
		"drop 02:00:5e:10:00:01":              "02:00:5e:10:00:01 is not in the scene",
		"ap":                                  "ap takes a BSSID",
		"ap 02:00":                            "BSSID",
		"ap 02:00:5e:10:00:01":                "freq=0 is in no band",
		"ap 02:00:5e:10:00:01 freq=x":         `"freq=x"`,
		"ap 02:00:5e:10:00:01 freq=2412 at=3": "takes two numbers",
		"ap 02:00:5e:10:00:01 freq=2412 fast": "no such property",
		"ap 02:00:5e:10:00:01 country=DEU":    "takes two letters",
		"ap 02:00:5e:10:00:01 ssidhex=0":      "ssidhex=0",
		"ap 02:00:5e:10:00:01 ssid=" + "1234567890123456789012345678901234": "at most 32 octets",
	} {
		_, err := s.Do(line)
		assert.ErrorContains(t, err, want, line)
	}
	assert.Equal(t, air.NewScene(), s)
}

// What a frame says is read back by the scanner's own parser, and its header
// lies as IEEE 802.11-2020, 9.3.3 wants.
func TestFrames(t *testing.T) {
	s := air.NewScene()
	do(t, &s, "ap 02:00:5e:10:00:10 freq=5180 ssid=depot country=DE load=7,255 tpc=-2 profiles=a,b,c")
	ap := &s.APs[0]
	to := radio.BSSID{2, 0, 0, 0, 0, 0}
	for _, f := range [][]byte{ap.Beacon(77), ap.Response(to, 77)} {
		want := to
		if f[0] == 0x80 {
			want = radio.BSSID{255, 255, 255, 255, 255, 255}
		}
		assert.Equal(t, []radio.BSSID{want, ap.BSSID, ap.BSSID}, []radio.BSSID{radio.BSSID(f[4:10]), radio.BSSID(f[10:16]), radio.BSSID(f[16:22])})
		assert.Equal(t, uint64(77), binary.LittleEndian.Uint64(f[24:]))
		assert.Equal(t, uint16(100), binary.LittleEndian.Uint16(f[32:]))
		e := nl80211.ParseElements(ap.BSSID, f[36:])
		require.NotNil(t, e.Multiple)
		assert.Equal(t, "DE", e.Country)
		assert.Equal(t, &nl80211.Load{Stations: 7, Utilisation: 1, Admission: 10000}, e.Load)
		assert.Equal(t, -2, *e.TxPowerDBm)
		assert.Equal(t, nl80211.MultipleBSSID{MaxIndicator: 2, Profiles: []nl80211.Profile{
			{BSSID: radio.BSSID{2, 0, 0x5e, 0x10, 0, 0x11}, SSID: "a"}, {BSSID: radio.BSSID{2, 0, 0x5e, 0x10, 0, 0x12}, SSID: "b"},
			{BSSID: radio.BSSID{2, 0, 0x5e, 0x10, 0, 0x13}, SSID: "c"}}}, *e.Multiple)
		assert.False(t, e.Malformed)
	}
}

func TestAnswers(t *testing.T) {
	wildcard, own, other, nul := "", "depot", "yard", "\x00"
	tests := []struct {
		ap   air.AP
		want map[string]bool
	}{
		{air.AP{SSID: "depot"}, map[string]bool{wildcard: true, own: true, other: false, nul: true}},
		{air.AP{SSID: "depot", Strict: true}, map[string]bool{wildcard: true, own: true, other: false, nul: false}},
		{air.AP{SSID: "depot", Silent: true}, map[string]bool{wildcard: false, own: false, other: false, nul: false}},
	}
	for _, tt := range tests {
		for name, want := range tt.want {
			p, ok := air.ParseProbe(request(name))
			require.True(t, ok)
			assert.Equal(t, radio.BSSID{2, 0, 0, 0, 0, 7}, p.From)
			assert.Equal(t, want, tt.ap.Answers(p), "%+v %q", tt.ap, name)
		}
	}
}

func request(name string) []byte {
	f := make([]byte, 24)
	f[0] = 0x40
	copy(f[10:], []byte{2, 0, 0, 0, 0, 7})
	return append(append(f, 0, byte(len(name))), name...)
}

func FuzzParseProbe(f *testing.F) {
	f.Add(request("depot"))
	f.Add(request("")[:25])
	f.Add((&air.AP{FreqMHz: 2412}).Beacon(1))
	f.Fuzz(func(t *testing.T, in []byte) {
		if p, ok := air.ParseProbe(in); ok {
			assert.Equal(t, byte(0x40), in[0])
			assert.LessOrEqual(t, len(p.SSID), len(in)-26)
		}
	})
}

func FuzzDo(f *testing.F) {
	f.Add("ap 02:00:5e:10:00:01 freq=2412 at=3,4 ssidhex=1b load=1,2 profiles=a,b strict")
	f.Add("at 3 4")
	f.Add("levels")
	f.Fuzz(func(t *testing.T, line string) {
		s := air.NewScene()
		before := s
		if _, err := s.Do(line); err != nil {
			assert.Equal(t, before, s)
		}
	})
}

// A change stands before its answer is sent, and errors come back as such.
func TestControl(t *testing.T) {
	path := filepath.Join(t.TempDir(), "air.sock")
	l, err := net.Listen("unix", path)
	require.NoError(t, err)
	served := make(chan error, 1)
	s := air.NewScene()
	go func() { served <- air.Serve(l, s.Do) }()
	c, err := air.Dial(path)
	require.NoError(t, err)
	_, err = c.Do("ap 02:00:5e:10:00:01 freq=2412 level=-61")
	require.NoError(t, err)
	got, err := c.Do("levels")
	require.NoError(t, err)
	assert.Equal(t, "02:00:5e:10:00:01,2412,-61", got)
	_, err = c.Do("at 3")
	require.EqualError(t, err, `at 3: "at" takes 2 numbers`)
	require.NoError(t, c.Close())
	require.NoError(t, l.Close())
	require.ErrorIs(t, <-served, net.ErrClosed)
	_, err = air.Dial(path)
	require.Error(t, err)
}
