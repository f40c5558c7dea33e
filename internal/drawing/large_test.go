package drawing_test

import (
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"testing"

	"footrule/internal/drawing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stream repeats a piece between a head and an end, and looks at the heap every
// 8 MB.
type stream struct {
	parts []string
	at    int
	piece string
	left  int // pieces
	tail  string
	read  int64
	next  int64
	peak  uint64
}

func (s *stream) Read(p []byte) (int, error) {
	if s.read >= s.next {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		s.peak, s.next = max(s.peak, m.HeapAlloc), s.read+8<<20
	}
	if s.at == len(s.parts) {
		switch {
		case s.left > 0:
			n := min(s.left, 1000)
			s.left -= n
			s.parts, s.at = []string{strings.Repeat(s.piece, n)}, 0
		case s.tail != "":
			s.parts, s.at, s.tail = []string{s.tail}, 0, ""
		default:
			return 0, io.EOF
		}
	}
	n := copy(p, s.parts[s.at])
	s.parts[s.at] = s.parts[s.at][n:]
	if s.parts[s.at] == "" {
		s.at++
	}
	s.read += int64(n)
	return n, nil
}

func measure(t *testing.T, name string, s *stream, o drawing.Options) (*drawing.Drawing, error) {
	t.Helper()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	base := m.HeapAlloc
	d, err := drawing.Read(name, s, o)
	runtime.ReadMemStats(&m)
	peak := max(s.peak, m.HeapAlloc)
	t.Logf("%s of %d MB took %.1f MB", name, s.read/1e6, float64(peak-min(peak, base))/1e6)
	assert.Less(t, peak-min(peak, base), uint64(200<<20))
	return d, err
}

// A large drawing is read as a stream: what is not asked for takes nothing,
// what is asked for ends at a bound.
func TestLarge(t *testing.T) {
	size := 8_000_000 // bytes; FOOTRULE_LARGE=1 reads 100 MB of each
	if os.Getenv("FOOTRULE_LARGE") != "" {
		size = 100_000_000
	}
	o := rules(t, "O=outline")
	furniture := tags("0 LINE 8 FURNITURE 5 1F3A 100 AcDbLine 10 412345.125 20 87654.5 30 0 11 412399.5 21 87999.75 31 0")
	head := tags(headMM + "0 SECTION 2 ENTITIES" + lines("O", 0, 0, 9000, 0, 9000, 9000, 0, 9000))
	s := &stream{parts: []string{head}, piece: furniture, left: size / len(furniture), tail: tags(ends)}
	d, err := measure(t, "x.dxf", s, drawing.Options{Keep: o.Keep})
	require.NoError(t, err)
	require.Len(t, d.Shapes, 4)
	assert.Greater(t, s.read, int64(size-1_000_000))
	assert.Less(t, s.peak, uint64(100<<20))

	s = &stream{parts: []string{head}, piece: furniture, left: 30_000_000 / len(furniture), tail: tags(ends)}
	_, err = measure(t, "x.dxf", s, drawing.Options{Keep: rules(t, "*=brick").Keep})
	require.Error(t, err)
	assert.Contains(t, err.Error(), fmt.Sprintf("the layers asked for hold more than %d corners or %d shapes; name fewer layers, or save only the plan", drawing.MaxCorners, drawing.MaxShapes))

	feature := `{"type": "Feature", "properties": {"layer": "FURNITURE"}, "geometry": {"type": "LineString", "coordinates": [[412345.125, 87654.5], [412399.5, 87999.75], [412399.5, 87999.75]]}},` + "\n"
	s = &stream{parts: []string{`{"type": "FeatureCollection", "features": [` + "\n"}, piece: feature, left: size / len(feature),
		tail: `{"type": "Feature", "properties": {"layer": "O"}, "geometry": {"type": "Point", "coordinates": [1, 2]}}]}`}
	d, err = measure(t, "x.geojson", s, drawing.Options{Keep: o.Keep, Local: true, MetresPerUnit: 1})
	require.NoError(t, err)
	require.Len(t, d.Shapes, 1)

	// One feature without end.
	s = &stream{parts: []string{`{"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": {"type": "LineString", "coordinates": [` + "\n"}, piece: "[1, 2],\n", left: 20_000_000 / 8, tail: "[1, 2]]}}]}"}
	_, err = measure(t, "x.geojson", s, drawing.Options{Keep: o.Keep, Local: true, MetresPerUnit: 1})
	require.EqualError(t, err, "x.geojson:1: one feature is larger than 16 MiB; save only the plan")

	// A line without end.
	s = &stream{parts: []string{head}, piece: "0123456789", left: 1_000_000}
	_, err = drawing.Read("x.dxf", s, drawing.Options{})
	require.EqualError(t, err, "x.dxf:63: the line has more than 16384 characters; this is no ASCII DXF, or it is damaged")
}
