package tui

import (
	"strconv"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// drawPlanOf draws voids, walls and outline of a floor.
func drawPlanOf(c *canvas.Canvas, v canvas.Viewport, f *site.Floor, w words, look theme) {
	void := firstRune(w.void)
	for _, a := range f.Areas {
		if a.Kind != site.Void {
			continue
		}
		hole := site.Floor{Outline: a.Polygon}
		for y := range v.H {
			for x := range v.W {
				if hole.Inside(v.Metres(x, y)) {
					c.Set(x, y, void, look.quiet)
				}
			}
		}
	}
	d := canvas.NewDots(v.W, v.H)
	for _, wall := range f.Walls {
		v.Polyline(d, wall.Line)
	}
	d.Draw(c, 0, 0, w.glyphs, look.wall)
	d = canvas.NewDots(v.W, v.H)
	v.Ring(d, f.Outline)
	d.Draw(c, 0, 0, w.glyphs, look.text)
}

// underlay draws the dark parts of a picture as dots.
func underlay(c *canvas.Canvas, v canvas.Viewport, dark func(at orb.Point, sideM float64) bool, w words, l canvas.Look) {
	d := canvas.NewDots(v.W, v.H)
	side := v.PerCol / 2
	for y := range 4 * v.H {
		for x := range 2 * v.W {
			at := orb.Point{v.Origin[0] + (float64(x)+.5)*side, v.Origin[1] - (float64(y)+.5)*side}
			if dark(at, side) {
				d.Dot(x, y)
			}
		}
	}
	d.Draw(c, 0, 0, w.glyphs, l)
}

// paintBox writes the short name of an access point, in brackets where there is
// no colour to tell it by.
func paintBox(c *canvas.Canvas, x, y int, name string, l canvas.Look, brackets bool) {
	if brackets {
		name = "[" + name + "]"
	} else if len(name) == 1 {
		name = " " + name + " "
	}
	w, _ := c.Size()
	n := canvas.Width(name)
	c.Text(min(max(0, x-n/2), max(0, w-n)), y, name, l)
}

// paintScaleBar draws how long a round length is, and gives the columns used.
func paintScaleBar(c *canvas.Canvas, x, y int, perCol float64, w words, look theme) int {
	from := x
	length, cols := canvas.ScaleBar(w.length(perCol), 14)
	c.Text(x, y, w.bar[0]+strings.Repeat(string(w.rule), max(0, cols-2))+w.bar[1], look.quiet)
	x += max(2, cols) + 1
	x += c.Text(x, y, strconv.FormatFloat(length, 'g', -1, 64)+" "+w.unit(), look.quiet)
	return x - from
}
