package figure_test

import (
	"fmt"
	"testing"

	"footrule/internal/figure"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
)

// named is a pen that keeps where texts stand.
type named map[string]orb.Bound

func (named) Rect(orb.Bound, figure.Style)            {}
func (named) Polygon(figure.Style, ...orb.Ring)       {}
func (named) Line(figure.Style, ...orb.Point)         {}
func (named) Circle(orb.Point, float64, figure.Style) {}
func (n named) Text(at orb.Point, s string, t figure.TextStyle) {
	half := figure.TextWidth(s, t.Size, t.Bold) / 2
	if t.Anchor == figure.Middle {
		n[s] = orb.Bound{Min: orb.Point{at[0] - half, at[1] - t.Size*0.7}, Max: orb.Point{at[0] + half, at[1]}}
	}
}

// However many points there are, no name lies over another or beyond the page, every
// access point is named, and it is counted which points are not.
func TestLabels(t *testing.T) {
	p := &figure.Plan{Inset: true, Outline: orb.Ring{{0, 0}, {40, 0}, {40, 12}, {0, 12}}}
	for i := range 300 {
		p.Marks = append(p.Marks, figure.Mark{Kind: figure.Stood, At: orb.Point{float64(i%150) / 4, 3 + 6*float64(i/150)}, Text: fmt.Sprintf("S%04d", i)})
	}
	aps := []string{"AP-entrance-hall-north-side", "閲覧室-アクセスポイント", "AP-3", "AP-4"}
	for i, at := range []orb.Point{{0, 3}, {40, 9}, {20, 3}, {21, 3}} {
		p.Marks = append(p.Marks, figure.Mark{Kind: figure.AccessPoint, At: at, Text: aps[i]})
	}
	f := p.Figure()
	n := named{}
	f.Draw(n)
	for _, ap := range aps {
		assert.Contains(t, n, ap)
	}
	assert.Len(t, n, len(aps)+300-p.Unnamed)
	assert.Greater(t, p.Unnamed, 200)
	assert.Less(t, p.Unnamed, 290)
	for a, x := range n {
		assert.GreaterOrEqual(t, x.Min[0], 0.0, a)
		assert.LessOrEqual(t, x.Max[0], f.W, a)
		for b, y := range n {
			assert.True(t, a == b || !x.Intersects(y), "%s and %s", a, b)
		}
	}
	assert.Equal(t, f.SVG(), p.Figure().SVG())
}
