package figure_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"strings"
	"testing"

	"footrule/internal/canvas"
	"footrule/internal/figure"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// plan is an invented floor of 20 by 10 m with a bay cut out of it.
func plan() *figure.Plan {
	p := &figure.Plan{
		Title: "Hall <G> & \x1b[31mattic", Subtitle: "levels", Outline: orb.Ring{{0, 0}, {20, 0}, {20, 10}, {12, 10}, {12, 6}, {0, 6}},
		Voids:     []orb.Ring{{{2, 2}, {4, 2}, {4, 4}, {2, 4}}},
		Walls:     []orb.LineString{{{6, 0}, {6, 6}}},
		Attention: [][2]orb.Point{{{8, 0}, {8, 6}}},
		Marks: []figure.Mark{
			{Kind: figure.AccessPoint, At: orb.Point{5, 3}, Text: "A"},
			{Kind: figure.AddedAccessPoint, At: orb.Point{15, 3}, Text: "B"},
			{Kind: figure.MovedAccessPoint, At: orb.Point{18, 8}, From: orb.Point{14, 8}, Text: "C"},
			{Kind: figure.Label, At: orb.Point{10, 3}, Text: "hears 2"},
		},
		Legend: figure.Legend{Title: "level", Entries: []figure.Entry{{Step: 0, Text: "low"}, {Step: 8, Text: "high"}, {Step: -1, Text: "none"}, {Step: figure.Attention, Text: "edge"}, {Step: figure.Added, Text: "added"}}},
		Notes:  []string{strings.Repeat("a long note about what it rests on ", 12)},
	}
	for y := range 10 {
		for x := range 20 {
			step := x * 9 / 20
			if x == 10 {
				step = -1
			}
			p.Cells = append(p.Cells, figure.Cell{Box: orb.Bound{Min: orb.Point{float64(x), float64(y)}, Max: orb.Point{float64(x + 1), float64(y + 1)}}, Step: step})
		}
	}
	return p
}

// Equal input gives equal bytes, a document that can be parsed, and text that
// nothing obeys.
func TestSVG(t *testing.T) {
	a, b := plan().Figure().SVG(), plan().Figure().SVG()
	assert.Equal(t, a, b)
	d := xml.NewDecoder(bytes.NewReader(a))
	counts := map[string]int{}
	var text strings.Builder
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		switch e := tok.(type) {
		case xml.StartElement:
			counts[e.Name.Local]++
		case xml.CharData:
			text.Write(e)
		}
	}
	assert.NotContains(t, text.String(), "\x1b")
	assert.Contains(t, text.String(), "Hall <G> & ")
	for _, want := range []string{"hears 2", "low", "high", "added", "5 m"} {
		assert.Contains(t, text.String(), want)
	}
	// Cells of one step in a row are one rectangle: nine and the gap's other side,
	// on ten rows; beside the paper and the legend's three.
	assert.Equal(t, 10*10+1+3, counts["rect"])
}

// Colours of the PNG where the cells, the paper outside the outline and the void are.
func TestPNG(t *testing.T) {
	a, err := plan().Figure().PNG(1)
	require.NoError(t, err)
	b, err := plan().Figure().PNG(1)
	require.NoError(t, err)
	assert.Equal(t, a, b)
	img, err := png.Decode(bytes.NewReader(a))
	require.NoError(t, err)
	require.Equal(t, 960, img.Bounds().Dx())
	// 722 units for 20 m; the plan begins 24 from the left and 76 from the top.
	at := func(x, y float64) canvas.Color {
		scale := (960 - 48 - 190) / 20.0
		r, g, b, _ := img.At(int(24+x*scale), int(76+(10-y)*scale)).RGBA()
		return canvas.RGB(uint8(r>>8), uint8(g>>8), uint8(b>>8))
	}
	same := func(want, got canvas.Color, what string) {
		t.Helper()
		wr, wg, wb := want.RGB()
		r, g, b := got.RGB()
		assert.Equal(t, [3]uint8{wr, wg, wb}, [3]uint8{r, g, b}, what)
	}
	same(canvas.Ramp(0), at(0.5, 5.5), "the first step")
	same(canvas.Ramp(8), at(19.5, 1.5), "the last step")
	same(canvas.Hex(0xffffff), at(5.5, 8.5), "outside the outline")
	same(canvas.Hex(0xffffff), at(10.5, 1.5), "a cell without a value")
	same(canvas.Hex(0xe4e6e8), at(3.7, 2.5), "a void")
	_, err = plan().Figure().PNG(100)
	assert.ErrorContains(t, err, "can be drawn")
}

func TestTextWidth(t *testing.T) {
	assert.InDelta(t, 2*figure.TextWidth("mmm", 10, false), figure.TextWidth("mmm", 20, false), 1e-9)
	assert.Greater(t, figure.TextWidth("mmm", 10, true), figure.TextWidth("iii", 10, true))
}
