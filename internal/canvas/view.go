package canvas

import (
	"math"

	"github.com/paulmach/orb"
)

// Viewport maps metres on a plan (x right, y up) to the cells of a canvas (x
// right, y down). A cell is taken to be twice as high as wide.
type Viewport struct {
	W, H   int       // cells
	Origin orb.Point // place of the upper left corner of cell 0, 0
	PerCol float64   // metres a column is wide; a row is twice as high
}

// Fit gives the viewport of w by h cells that shows all of b in its middle, with
// pad free cells on every side, its edges included (half a column and a quarter
// of a row are kept for that). An empty b shows one metre around its middle.
func Fit(b orb.Bound, w, h, pad int) Viewport {
	w, h = max(1, w), max(1, h)
	iw, ih := float64(max(1, w-2*pad))-0.5, float64(max(1, h-2*pad))-0.25
	per := math.Max((b.Max[0]-b.Min[0])/iw, (b.Max[1]-b.Min[1])/(2*ih))
	if !(per > 0) || math.IsInf(per, 0) {
		per = 1 / iw
	}
	mid := orb.Point{(b.Min[0] + b.Max[0]) / 2, (b.Min[1] + b.Max[1]) / 2}
	return around(mid, per, w, h)
}

func around(mid orb.Point, per float64, w, h int) Viewport {
	return Viewport{W: w, H: h, PerCol: per,
		Origin: orb.Point{mid[0] - per*float64(w)/2, mid[1] + per*float64(h)}}
}

// Zoom gives the viewport of the same size that shows things factor times as
// large with mid in its middle.
func (v Viewport) Zoom(mid orb.Point, factor float64) Viewport {
	return around(mid, v.PerCol/factor, v.W, v.H)
}

// Dot gives the place of p in dots (2×4 a cell).
func (v Viewport) Dot(p orb.Point) (x, y float64) {
	return (p[0] - v.Origin[0]) / v.PerCol * 2, (v.Origin[1] - p[1]) / v.PerCol * 2
}

// Cell gives the cell that p falls into; ok is false outside the viewport.
func (v Viewport) Cell(p orb.Point) (x, y int, ok bool) {
	fx, fy := v.Dot(p)
	fx, fy = math.Floor(fx/2), math.Floor(fy/4)
	if !(fx >= 0 && fy >= 0 && fx < float64(v.W) && fy < float64(v.H)) {
		return 0, 0, false
	}
	return int(fx), int(fy), true
}

// Metres gives the middle of the cell at x, y.
func (v Viewport) Metres(x, y int) orb.Point {
	return orb.Point{v.Origin[0] + (float64(x)+.5)*v.PerCol, v.Origin[1] - (float64(y)+.5)*2*v.PerCol}
}

// Polyline draws the pieces of line into d.
func (v Viewport) Polyline(d *Dots, line orb.LineString) {
	for i := 1; i < len(line); i++ {
		x0, y0 := v.Dot(line[i-1])
		x1, y1 := v.Dot(line[i])
		d.Line(x0, y0, x1, y1)
	}
}

// Ring draws the closed ring into d, whether or not its first corner is repeated.
func (v Viewport) Ring(d *Dots, ring orb.Ring) {
	if len(ring) == 0 {
		return
	}
	v.Polyline(d, orb.LineString(ring))
	v.Polyline(d, orb.LineString{ring[len(ring)-1], ring[0]})
}

// ScaleBar gives the longest length of the form 1, 2 or 5 times a power of ten
// that takes at most maxCols columns at perCol length units a column, and the
// columns it takes. It gives zero where there is none.
func ScaleBar(perCol float64, maxCols int) (length float64, cols int) {
	room := perCol * float64(maxCols)
	if !(room > 0) || math.IsInf(room, 0) {
		return 0, 0
	}
	ten := math.Pow(10, math.Floor(math.Log10(room)))
	for _, m := range [...]float64{5, 2, 1} {
		if l := m * ten; l <= room {
			return l, max(1, int(math.Round(l/perCol)))
		}
	}
	return ten, max(1, int(math.Round(ten/perCol)))
}
