package site_test

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// 3GPP TR 38.901, Table 7.3-1: an element of 65° by 65° is −3 dB at half of that
// either way and at most −30 dB anywhere; azimuth and tilt turn the axis.
func TestAntennaPattern(t *testing.T) {
	toward := func(azimuth, below float64) (x, y, z float64) {
		sinA, cosA := math.Sincos(azimuth * math.Pi / 180)
		sinT, cosT := math.Sincos(below * math.Pi / 180)
		return 7 * sinA * cosT, 7 * cosA * cosT, -7 * sinT
	}
	element := &site.Antenna{GainDBi: 8, BeamWidthDeg: 65, BeamHeightDeg: 65}
	for _, c := range []struct {
		name           string
		a              *site.Antenna
		azimuth, below float64
		want           float64
	}{
		{"along the axis", element, 0, 0, 0},
		{"half of the width", element, 32.5, 0, -3},
		{"half of the height", element, 0, 32.5, -3},
		{"half of the height, above", element, 0, -32.5, -3},
		{"at 65°", element, 65, 0, -12},
		{"behind", element, 180, 0, -30},
		{"straight down", element, 0, 90, -12 * 90.0 * 90 / 65 / 65},
		{"turned to the east", &site.Antenna{AzimuthDeg: 90, BeamWidthDeg: 65}, 90, 0, 0},
		{"turned to the east, half of the width", &site.Antenna{AzimuthDeg: 90, BeamWidthDeg: 65}, 122.5, 20, -3},
		{"tilted", &site.Antenna{AzimuthDeg: 30, TiltDeg: 10, BeamWidthDeg: 65, BeamHeightDeg: 20}, 30, 10, 0},
		{"tilted, the horizon is half of the height up", &site.Antenna{AzimuthDeg: 30, TiltDeg: 10, BeamWidthDeg: 65, BeamHeightDeg: 20}, 30, 0, -3},
		{"looking down, all sides are alike", &site.Antenna{TiltDeg: 90, BeamWidthDeg: 120, BeamHeightDeg: 120}, 200, 90, 0},
		{"a ring without width", &site.Antenna{BeamHeightDeg: 40}, 217, 20, -3},
		{"front to back", &site.Antenna{BeamWidthDeg: 60, FrontToBackDB: 18}, 170, 0, -18},
		{"omnidirectional", &site.Antenna{GainDBi: 5}, 170, 40, 0},
		{"none", nil, 170, 40, 0},
	} {
		assert.InDelta(t, c.want, c.a.PatternDB(toward(c.azimuth, c.below)), 1e-9, c.name)
	}
	assert.Zero(t, element.PatternDB(0, 0, 0))
	rng := rand.New(rand.NewPCG(1, 1))
	for range 1000 {
		a := &site.Antenna{AzimuthDeg: 360 * rng.Float64(), TiltDeg: 180*rng.Float64() - 90, BeamWidthDeg: 1 + 300*rng.Float64(), BeamHeightDeg: 1 + 300*rng.Float64(), FrontToBackDB: 1 + 40*rng.Float64()}
		x, y, z := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		v := a.PatternDB(x, y, z)
		require.LessOrEqual(t, v, 0.0)
		require.GreaterOrEqual(t, v, -a.FrontToBackDB)
		require.InDelta(t, v, a.PatternDB(3*x, 3*y, 3*z), 1e-9, "only the direction counts")
		b := *a // turned together with what is looked at
		b.AzimuthDeg += 40
		sin, cos := math.Sincos(-40 * math.Pi / 180)
		require.InDelta(t, v, b.PatternDB(cos*x-sin*y, sin*x+cos*y, z), 1e-6)
	}
}

func antennaSite(lines string) string {
	return `format = "footrule-site/1"
name = "Hall"
[[floor]]
id = "G"
outline = [[0, 0], [20, 0], [20, 10], [0, 10]]
[[access_point]]
id = "A"
floor = "G"
at = [10, 5]
height_m = 3
[[access_point.radio]]
band = "5"
` + lines
}

func TestAntennaInAFile(t *testing.T) {
	for _, lines := range []string{
		"[access_point.radio.antenna]\ngain_dbi = 8\nazimuth_deg = 90\ntilt_deg = 15\nbeam_width_deg = 65\nbeam_height_deg = 60\nfront_to_back_db = 25\n",
		"antenna = { gain_dbi = 8, azimuth_deg = 90, tilt_deg = 15, beam_width_deg = 65, beam_height_deg = 60, front_to_back_db = 25 }\n",
	} {
		s, err := site.Read("site.toml", strings.NewReader(antennaSite(lines)))
		require.NoError(t, err)
		want := &site.Antenna{GainDBi: 8, AzimuthDeg: 90, TiltDeg: 15, BeamWidthDeg: 65, BeamHeightDeg: 60, FrontToBackDB: 25}
		require.Equal(t, want, s.AccessPoints[0].Radios[0].Antenna)
		var b bytes.Buffer
		require.NoError(t, site.Write(&b, s))
		again, err := site.Read("site.toml", &b)
		require.NoError(t, err)
		assert.Equal(t, s, again)
		c := s.Clone()
		c.AccessPoints[0].Radios[0].Antenna.GainDBi = 1
		assert.Equal(t, 8.0, s.AccessPoints[0].Radios[0].Antenna.GainDBi)
		// East of it and 1.8 m lower: on the axis but for the tilt.
		assert.InDelta(t, 0, s.PatternDB(site.RadioRef{}, 0, orb.Point{10 + 1.8/math.Tan(15*math.Pi/180), 5}), 1e-9)
		assert.Equal(t, -25.0, s.PatternDB(site.RadioRef{}, 0, orb.Point{0, 5}))
	}
	s := &site.Site{Floors: []site.Floor{{ID: "G"}}, AccessPoints: []site.AccessPoint{{Floor: "G", Radios: []site.Radio{{Band: radio.Band5}}}}}
	assert.Zero(t, s.PatternDB(site.RadioRef{}, 0, orb.Point{1, 1}))
}

func TestBrokenAntenna(t *testing.T) {
	for _, c := range []struct{ lines, want string }{
		{"antenna = 8\n", `site.toml:13:11: antenna is a number; write a table, such as antenna = { gain_dbi = 8, azimuth_deg = 90, beam_width_deg = 65 }`},
		{"[access_point.radio.antenna]\ngain = 8\n", `site.toml:14:1: unknown key "gain" in [access_point.radio.antenna]; did you mean "gain_dbi"?`},
		{"[access_point.radio.antenna]\ngain_dbi = \"8\"\n", `site.toml:14:12: gain_dbi is a string; write a number, such as gain_dbi = 8`},
		{"[access_point.radio.antenna]\ngain_dbi = 80\n", `site.toml:14:12: gain_dbi of the antenna of radio 1 of access point "A" is 80; write dBi from -20 to 40`},
		{"[access_point.radio.antenna]\nbeam_width_deg = -65\n", `site.toml:14:18: beam_width_deg of the antenna of radio 1 of access point "A" is -65; write degrees from 1 to 360`},
		{"[access_point.radio.antenna]\nazimuth_deg = 90\n", `site.toml:14:15: the antenna of radio 1 of access point "A" has an azimuth and no beam width; add beam_width_deg = 65, or leave azimuth_deg out`},
		{"[access_point.radio.antenna]\ntilt_deg = 10\n", `site.toml:14:12: the antenna of radio 1 of access point "A" has a tilt and no beam; add beam_height_deg = 65, or leave tilt_deg out`},
		{"[access_point.radio.antenna]\ntilt_deg = 100\nbeam_height_deg = 65\n", `site.toml:14:12: tilt_deg of the antenna of radio 1 of access point "A" is 100; write degrees below the horizon from -90 to 90`},
	} {
		_, err := site.Read("site.toml", strings.NewReader(antennaSite(c.lines)))
		assert.EqualError(t, err, c.want)
	}
}
