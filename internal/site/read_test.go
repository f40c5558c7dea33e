package site_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"testing"
	"testing/iotest"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// depot is a small valid site; the broken documents below differ from it.
const depot = `format = "footrule-site/1"
name = "Harbour Depot"
receiver_height_m = 1.3

[[floor]]
id = "G"
name = "Ground"
elevation_m = 0.0
outline = [[0, 0], [60, 0], [60, 24], [0, 24]]

[[floor.wall]]
material = "plasterboard"
line = [[20, 0], [20, 10], [28, 10]]

[[floor.area]]
id = "bay-1"
kind = "zone"
polygon = [[0, 0], [20, 0], [20, 10], [0, 10]]

[[floor.area]]
id = "shaft"
kind = "void"
polygon = [[30, 12], [34, 12], [34, 16], [30, 16]]

[[floor.point]]
id = "P01"
at = [3.0, 3.5]

[[access_point]]
id = "AP-01"
floor = "G"
at = [5.0, 4.0]
height_m = 2.8

[[access_point.radio]]
band = "5"
bssids = ["02:00:5e:10:01:00"]
tx_power_dbm = 17

[[access_point.radio]]
band = "2.4"
`

func depotSite() *site.Site {
	tx := 17.0
	return &site.Site{
		Name: "Harbour Depot", ReceiverHeightM: 1.3,
		Floors: []site.Floor{{
			ID: "G", Name: "Ground",
			Outline: orb.Ring{{0, 0}, {60, 0}, {60, 24}, {0, 24}},
			Walls:   []site.Wall{{Material: "plasterboard", Line: orb.LineString{{20, 0}, {20, 10}, {28, 10}}}},
			Areas: []site.Area{
				{ID: "bay-1", Kind: site.Zone, Polygon: orb.Ring{{0, 0}, {20, 0}, {20, 10}, {0, 10}}},
				{ID: "shaft", Kind: site.Void, Polygon: orb.Ring{{30, 12}, {34, 12}, {34, 16}, {30, 16}}},
			},
			Points: []site.Point{{ID: "P01", At: orb.Point{3, 3.5}}},
		}},
		AccessPoints: []site.AccessPoint{{
			ID: "AP-01", Floor: "G", At: orb.Point{5, 4}, HeightM: 2.8,
			Radios: []site.Radio{
				{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0x10, 1, 0}}, TxPowerDBm: &tx},
				{Band: radio.Band2},
			},
		}},
	}
}

func TestRead(t *testing.T) {
	const small = "format = \"footrule-site/1\"\nname = \"S\"\n"
	room := func(rest string) string {
		return small + "[[floor]]\nid = \"G\"\noutline = [[0, 0], [9, 0], [9, 9], [0, 9]]\n" + rest
	}
	roomSite := func(change func(*site.Site)) *site.Site {
		s := &site.Site{Name: "S", ReceiverHeightM: site.DefaultReceiverHeightM,
			Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {9, 0}, {9, 9}, {0, 9}}}}}
		change(s)
		return s
	}
	for _, c := range []struct {
		name, doc string
		want      *site.Site
	}{
		{"the whole of it", depot, depotSite()},
		{"CRLF", strings.ReplaceAll(depot, "\n", "\r\n"), depotSite()},
		{"a byte order mark", "\xef\xbb\xbf" + depot, depotSite()},
		{"no end of line at the end", strings.TrimSpace(depot), depotSite()},
		{"a closing corner", strings.ReplaceAll(depot, "[0, 24]]", "[0, 24], [0, 0]]"), depotSite()},
		{"the least", room(""), roomSite(func(*site.Site) {})},
		{"inline and dotted",
			small + "floor = [{id = \"G\", outline = [[0, 0], [9, 0], # east\n [9, 9],\n [0, 9],]}]\n",
			roomSite(func(*site.Site) {})},
		{"ways to write a number", room("elevation_m = -0.0\n[[floor.point]]\nid = \"P\"\nat = [+1_000e-3, 0x2]\n"),
			roomSite(func(s *site.Site) { s.Floors[0].Points = []site.Point{{ID: "P", At: orb.Point{1, 2}}} })},
		{"an access point outside", room("[[access_point]]\nid = \"A\"\nfloor = \"G\"\nat = [-3, 99]\nheight_m = 6\n[[access_point.radio]]\nband = \"6\"\n"),
			roomSite(func(s *site.Site) {
				s.AccessPoints = []site.AccessPoint{{ID: "A", Floor: "G", At: orb.Point{-3, 99}, HeightM: 6, Radios: []site.Radio{{Band: radio.Band6}}}}
			})},
		{"a wall 5 cm outside", room("[[floor.wall]]\nmaterial = \"brick\"\nline = [[3, -0.05], [3, 9.05]]\n"),
			roomSite(func(s *site.Site) {
				s.Floors[0].Walls = []site.Wall{{Material: "brick", Line: orb.LineString{{3, -0.05}, {3, 9.05}}}}
			})},
		{"points on the outline, in a corner, at a void", room("[[floor.area]]\nid = \"v\"\nkind = \"void\"\npolygon = [[2, 2], [4, 2], [4, 4], [2, 4]]\n[[floor.point]]\nid = \"a\"\nat = [9, 5]\n[[floor.point]]\nid = \"b\"\nat = [0, 0]\n[[floor.point]]\nid = \"c\"\nat = [4, 3]\n"),
			roomSite(func(s *site.Site) {
				s.Floors[0].Areas = []site.Area{{ID: "v", Kind: site.Void, Polygon: orb.Ring{{2, 2}, {4, 2}, {4, 4}, {2, 4}}}}
				s.Floors[0].Points = []site.Point{{ID: "a", At: orb.Point{9, 5}}, {ID: "b", At: orb.Point{0, 0}}, {ID: "c", At: orb.Point{4, 3}}}
			})},
		{"any script, blanks in names", strings.Replace(room(""), `"S"`, `"Lager \"Süd\" \\ 倉庫"`, 1),
			roomSite(func(s *site.Site) { s.Name = `Lager "Süd" \ 倉庫` })},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := site.Read("site.toml", strings.NewReader(c.doc))
			require.NoError(t, err)
			assert.Equal(t, c.want, got)
			assert.NoError(t, got.Validate())

			var out bytes.Buffer
			require.NoError(t, site.Write(&out, got))
			again, err := site.Read("site.toml", &out)
			require.NoError(t, err)
			assert.Equal(t, c.want, again, "written and read again")
		})
	}
}

// A negative zero is written as 0, so it is read as 0.
func TestReadKnowsOneZero(t *testing.T) {
	s, err := site.Read("site.toml", strings.NewReader(strings.Replace(depot, "elevation_m = 0.0", "elevation_m = -0.0", 1)))
	require.NoError(t, err)
	assert.False(t, math.Signbit(s.Floors[0].ElevationM))
}

func TestReadKeepsFailuresOfTheReader(t *testing.T) {
	_, err := site.Read("site.toml", iotest.ErrReader(os.ErrPermission))
	assert.ErrorIs(t, err, os.ErrPermission)
	_, err = site.Read("site.toml", io.LimitReader(endless{}, site.MaxFileBytes+5))
	assert.EqualError(t, err, "site.toml: the file is larger than 16 MiB; give a site.toml")
}

type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = '\n'
	}
	return len(p), nil
}

func TestWrite(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, site.Write(&out, depotSite()))
	// What a person wrote differs from it in how numbers are spelled.
	want := strings.NewReplacer("0.0\n", "0\n", "[3.0, ", "[3, ", "[5.0, 4.0]", "[5, 4]").Replace(depot)
	assert.Equal(t, want, out.String())

	s := depotSite()
	s.Floors[0].Outline = s.Floors[0].Outline[:2]
	out.Reset()
	assert.EqualError(t, site.Write(&out, s), `input: the outline of floor "G" has 2 corners; give it at least 3`)
	assert.Zero(t, out.Len(), "nothing is written of a site that is not valid")

	assert.ErrorIs(t, site.Write(failing{}, depotSite()), errFull)
}

var errFull = errors.New("disk full")

type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errFull }

func TestClone(t *testing.T) {
	s := depotSite()
	c := s.Clone()
	require.Equal(t, s, c)
	f, ap := &c.Floors[0], &c.AccessPoints[0]
	f.ID, f.Outline[0][0], f.Walls[0].Line[0][0], f.Walls[0].Material = "X", 1, 1, "X"
	f.Areas[0].Polygon[0][0], f.Areas[0].ID, f.Points[0].ID = 1, "X", "X"
	ap.ID, ap.Radios[0].Band, ap.Radios[0].BSSIDs[0][5], *ap.Radios[0].TxPowerDBm = "X", "6", 9, 1
	assert.Equal(t, depotSite(), s)
	assert.Equal(t, &site.Site{Name: "empty"}, (&site.Site{Name: "empty"}).Clone())
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(depot))
	f.Add([]byte(strings.ReplaceAll(depot, "\n", "\r\n")))
	f.Add([]byte("format = \"footrule-site/1\"\nname='x'\nfloor=[{id='G',outline=[[0,0],[1,0],[0,1],[0,0]],point=[{id='a',at=[.1e0,0b1]}]}]"))
	for _, c := range broken {
		f.Add([]byte(c.doc))
	}
	f.Add([]byte(wired))
	for _, c := range brokenInfra {
		f.Add([]byte(strings.Replace(wired, c.old, c.now, 1)))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := site.Read("f", bytes.NewReader(data))
		if err != nil {
			var e *input.Error
			require.ErrorAs(t, err, &e)
			require.NotContains(t, e.Error(), "\n")
			return
		}
		require.NoError(t, s.Validate())
		var first, second bytes.Buffer
		require.NoError(t, site.Write(&first, s))
		again, err := site.Read("f", bytes.NewReader(first.Bytes()))
		require.NoError(t, err, first.String())
		require.Equal(t, s, again)
		require.NoError(t, site.Write(&second, again))
		require.Equal(t, first.String(), second.String())
	})
}

// largeSite has 50 access points of two radios and 2,000 points on four floors.
func largeSite() *site.Site {
	s := &site.Site{Name: "Large", ReceiverHeightM: 1.2}
	for i := range 4 {
		f := site.Floor{ID: fmt.Sprint(i), ElevationM: 4 * float64(i), Outline: orb.Ring{{0, 0}, {100, 0}, {100, 60}, {40, 60}, {40, 50}, {0, 50}}}
		for k := range 40 {
			x := 2 + 2.4*float64(k)
			f.Walls = append(f.Walls, site.Wall{Material: []string{"brick", "glass"}[k%2], Line: orb.LineString{{x, 3}, {x, 20}, {x + 2, 20}}})
		}
		f.Areas = []site.Area{{ID: "shaft", Kind: site.Void, Polygon: orb.Ring{{50, 30.5}, {54, 30.5}, {54, 34.5}, {50, 34.5}}}}
		for k := range 500 {
			f.Points = append(f.Points, site.Point{ID: fmt.Sprintf("P%d-%03d", i, k), At: orb.Point{1 + 3.9*float64(k%25), 1.25 + 1.3*float64(k/25)}})
		}
		s.Floors = append(s.Floors, f)
	}
	for k := range 50 {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%02d", k), Floor: fmt.Sprint(k % 4), At: orb.Point{2 * float64(k), 5}, HeightM: 2.8,
			Radios: []site.Radio{{Band: radio.Band2, BSSIDs: []radio.BSSID{{2, 0, 0, 0, byte(k), 1}}}, {Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0, 0, byte(k), 2}}}}})
	}
	return s
}

func BenchmarkRead(b *testing.B) {
	var out bytes.Buffer
	require.NoError(b, site.Write(&out, largeSite()))
	b.SetBytes(int64(out.Len()))
	for b.Loop() {
		if _, err := site.Read("large", bytes.NewReader(out.Bytes())); err != nil {
			b.Fatal(err)
		}
	}
}
