package drawing_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"footrule/internal/drawing"
	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/stretchr/testify/require"
)

// hold reads any bytes as a drawing: an error has a sentence, and a floor that
// is made is one that a site can have.
func hold(t *testing.T, name string, data []byte, o drawing.Options) {
	if len(data) > 16<<10 {
		return
	}
	r := drawing.Rules{{Layer: "O*", Role: drawing.Outline}, {Layer: "C*", Role: drawing.Area, Kind: site.Void}, {Layer: "P*", Role: drawing.Points},
		{Layer: "A*", Role: drawing.AccessPoints}, {Layer: "*", Role: drawing.Walls, Material: "brick"}}
	list, err := drawing.Read(name, bytes.NewReader(data), drawing.Options{LayerKey: o.LayerKey, Local: o.Local, MetresPerUnit: o.MetresPerUnit, Ratio: o.Ratio})
	if err == nil {
		require.Empty(t, list.Shapes)
	}
	o.Keep = r.Keep
	d, err := drawing.Read(name, bytes.NewReader(data), o)
	if err != nil {
		var e *input.Error
		require.True(t, errors.As(err, &e), "%T %v", err, err)
		require.NotEmpty(t, e.What)
		return
	}
	for _, m := range []drawing.Making{{Box: true, Rules: r[1:]}, {Rules: r, TurnDeg: 30, FacesM: 0.3}} {
		m.ID, m.Bands = "G", []radio.Band{"5"}
		made, err := d.Floor(name, m)
		if err != nil {
			var e *input.Error
			require.True(t, errors.As(err, &e), "%T %v", err, err)
			continue
		}
		s := &site.Site{Name: "fuzz", ReceiverHeightM: 1, Floors: []site.Floor{made.Floor}, AccessPoints: made.AccessPoints}
		require.NoError(t, s.Validate())
		var b bytes.Buffer
		require.NoError(t, site.Write(&b, s))
	}
}

func seed(f *testing.F, names ...string) {
	for _, n := range names {
		b, err := os.ReadFile(filepath.Join(testdata, n))
		require.NoError(f, err)
		f.Add(b)
	}
}

func FuzzDXF(f *testing.F) {
	f.Add([]byte(tags(headMM + "0 SECTION 2 BLOCKS 0 BLOCK 2 A 10 1 20 2 0 CIRCLE 8 0 40 3 0 INSERT 2 B 10 5 20 5 41 -2 50 30 0 ENDBLK 0 BLOCK 2 B 0 ARC 8 AP 40 9 50 10 51 200 0 ENDBLK 0 ENDSEC " +
		"0 SECTION 2 ENTITIES" + lines("O", 0, 0, 9000, 0, 9000, 9000, 0, 9000) + " 0 INSERT 8 P 2 A 10 500 20 500 70 2 44 100 0 LWPOLYLINE 8 W 70 1 10 0 20 0 42 1 10 900 20 0 0 POLYLINE 8 C 66 1 70 1 0 VERTEX 10 0 20 0 0 VERTEX 10 900 20 900 42 .5 0 SEQEND" +
		" 0 ELLIPSE 8 W 10 5 20 5 11 900 21 0 40 .5 41 0 42 3 0 SPLINE 8 W 70 8 71 2 40 0 40 0 40 0 40 1 40 1 40 1 10 0 20 0 10 500 20 500 10 900 20 0" + ends)))
	f.Add([]byte(tags(headMM + "0 SECTION 2 TABLES 0 LAYER 2 W 62 -7 0 ENDSEC 0 SECTION 2 ENTITIES" + lines("OUT", 0, 0, 9000, 0, 9000, 9000, 0, 9000, 0, 3) + " 0 TEXT 8 P 1 P-1 10 500 20 500 0 POINT 8 P 10 600 20 500 0 LINE 8 W 10 -5 20 4 11 9000 21 4" + ends)))
	f.Fuzz(func(t *testing.T, data []byte) { hold(t, "x.dxf", data, drawing.Options{}) })
}

func FuzzSVG(f *testing.F) {
	seed(f, "hall.svg")
	f.Add([]byte(`<svg viewBox="0 0 9 9" width="9cm"><g id="O"><path d="M0 0h9v9h-9z"/></g><svg x="1" y="1" width="4" height="4" viewBox="0 0 2 2"><rect rx=".1" width="1" height="1" transform="skewX(10) rotate(30 1 1)"/></svg>` +
		`<g id="P"><circle cx="1" cy="1" r=".1"/><text x="1" y="1">P1</text></g><symbol id="s" viewBox="0 0 1 1"><path d="M0 0q1 1 0 1t.5.5s1 1 0 1c1 1 0 1 .1.1a1 2 30 1 0 .5.5"/></symbol><use href="#s" x="3" y="3" width="1" height="1"/></svg>`))
	f.Fuzz(func(t *testing.T, data []byte) { hold(t, "x.svg", data, drawing.Options{Ratio: 100}) })
}

func FuzzGeoJSON(f *testing.F) {
	f.Add([]byte(`{"type":"FeatureCollection","features":[{"type":"Feature","id":7,"properties":{"layer":"O","name":"x"},"geometry":{"type":"Polygon","coordinates":[[[8.5,47.3],[8.501,47.3],[8.501,47.301],[8.5,47.301],[8.5,47.3]],[[8.5002,47.3002],[8.5004,47.3002],[8.5004,47.3004]]]}}` +
		`,{"type":"Feature","properties":{"layer":"W"},"geometry":{"type":"GeometryCollection","geometries":[{"type":"MultiLineString","coordinates":[[[8.5,47.3],[8.501,47.301]]]},{"type":"MultiPoint","coordinates":[[8.5,47.3,1]]}]}}]}`))
	f.Add([]byte(`{"type":"Feature","properties":null,"geometry":{"type":"MultiPolygon","coordinates":[[[[0,0],[20,0],[20,12],[0,12],[0,0]]]]}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		hold(t, "x.geojson", data, drawing.Options{})
		hold(t, "x.geojson", data, drawing.Options{Local: true, MetresPerUnit: 1})
	})
}
