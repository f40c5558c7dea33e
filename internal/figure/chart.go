package figure

import (
	"math"
	"strconv"

	"footrule/internal/canvas"
	"footrule/internal/say"

	"github.com/paulmach/orb"
)

// Chart is curves over two axes.
type Chart struct {
	Title string
	Desc  string // for who can't see it
	X, Y  Axis
	Lines []Curve
	Ticks []Tick // places on the plane that are marked and labelled
}

// Axis is one axis; Title names the quantity and its unit. It runs from 0 to Hi.
type Axis struct {
	Title string
	Hi    float64
}

// Curve is a polyline with its name.
type Curve struct {
	Name  string
	Pts   []orb.Point
	Quiet bool // thin and grey: something to compare with
}

// Tick is a place that is to be reached, drawn with its feet on both axes.
type Tick struct {
	At   orb.Point
	Text string
}

// Figure draws the chart on a page 680 units wide.
func (c *Chart) Figure() *Figure {
	const w, h, left, top = insetWidth, 300.0, 48.0, 30.0
	f := &Figure{W: w, H: h + 70, Title: c.Title, Desc: c.Desc, Paper: paper}
	right, bottom := w-14, h
	at := func(p orb.Point) orb.Point {
		return orb.Point{left + p[0]/c.X.Hi*(right-left), bottom - p[1]/c.Y.Hi*(bottom-top)}
	}
	small := TextStyle{Size: textSize - 1, Color: ink, Anchor: End}
	for _, v := range steps(c.Y.Hi) {
		a, b := at(orb.Point{0, v}), at(orb.Point{c.X.Hi, v})
		f.Line(Style{Stroke: pale, Width: 1}, a, b)
		f.Text(orb.Point{left - 6, a[1] + 4}, short(v), small)
	}
	small.Anchor = Middle
	for _, v := range steps(c.X.Hi) {
		a := at(orb.Point{v, 0})
		f.Line(Style{Stroke: pale, Width: 1}, a, orb.Point{a[0], top})
		f.Text(orb.Point{a[0], bottom + 16}, short(v), small)
	}
	f.Line(Style{Stroke: ink, Width: 1.2}, orb.Point{left, top}, orb.Point{left, bottom}, orb.Point{right, bottom})
	f.Text(orb.Point{6, top - 14}, c.Y.Title, TextStyle{Size: textSize, Bold: true, Color: ink})
	f.Text(orb.Point{right, bottom + 34}, c.X.Title, TextStyle{Size: textSize, Bold: true, Color: ink, Anchor: End})
	for _, t := range c.Ticks {
		q := at(t.At)
		f.Line(Style{Stroke: accent, Width: 1.4}, orb.Point{left, q[1]}, q, orb.Point{q[0], bottom})
	}
	for _, l := range c.Lines {
		f.Line(l.style(), mapped(l.Pts, at)...)
	}
	for _, t := range c.Ticks {
		q := at(t.At)
		added(f, q, 5)
		set, dx := TextStyle{Size: textSize, Color: ink, Halo: paper}, 10.0
		if q[0] > (left+right)/2 {
			set.Anchor, dx = End, -10
		}
		f.Text(orb.Point{q[0] + dx, q[1] + 14}, t.Text, set)
	}
	x, y := left, h+54
	for _, l := range c.Lines {
		f.Line(l.style(), orb.Point{x, y - 4}, orb.Point{x + 26, y - 4})
		f.Text(orb.Point{x + 32, y}, l.Name, TextStyle{Size: textSize, Color: ink})
		x += 50 + TextWidth(l.Name, textSize, false)*1.12
	}
	return f
}

func (l *Curve) style() Style {
	if l.Quiet {
		return Style{Stroke: grey, Width: 1.2}
	}
	return Style{Stroke: canvas.Ramp(canvas.Steps - 2), Width: 2.2}
}

func mapped(pts []orb.Point, at func(orb.Point) orb.Point) []orb.Point {
	out := make([]orb.Point, len(pts))
	for i, p := range pts {
		out[i] = at(p)
	}
	return out
}

// steps are 4 to 10 round values from 0 to hi.
func steps(hi float64) []float64 {
	size := math.Pow(10, math.Floor(math.Log10(hi)))
	for hi/size < 4 {
		size /= 2
		if math.Round(size/math.Pow(10, math.Floor(math.Log10(size)))*10)/10 == 2.5 {
			size /= 1.25 // 10, 5, 2, 1
		}
	}
	var out []float64
	for k := 0; float64(k)*size <= hi*(1+1e-9); k++ {
		out = append(out, float64(k)*size)
	}
	return out
}

func short(v float64) string {
	return say.Minus(strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64))
}
