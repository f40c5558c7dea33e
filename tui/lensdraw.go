package tui

import (
	"fmt"
	"math"

	"footrule/internal/canvas"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// heardScale cuts how many are heard into the steps of the ramp.
var heardScale = canvas.Scale{Edges: [canvas.Steps - 1]float64{1, 2, 3, 4, 5, 6, 7, 8}}

// shade is how a lens shades a value.
type shade struct {
	scale   canvas.Scale
	unit    string
	descend bool // large values are the good ones
}

func (m *Model) shade() shade {
	switch m.lensShown() {
	case levelLens:
		return shade{canvas.LevelScale, "dBm", true}
	case heardLens:
		if m.gaze.other {
			return shade{heardScale, "outside, inside the hull", true}
		}
		return shade{heardScale, "heard", true}
	}
	return shade{canvas.ErrorScale, "m", false}
}

// step is that of the ramp, −1 for no value.
func (s shade) step(v float64) int {
	k := s.scale.Step(v)
	if k >= 0 && s.descend {
		return canvas.Steps - 1 - k
	}
	return k
}

// digit is what stands for a step beside its colour: 1 to 9, or how many are heard.
func (s shade) digit(step int) rune {
	if s.descend {
		step = canvas.Steps - 1 - step
	}
	if s.scale == heardScale {
		return rune('0' + step)
	}
	return rune('1' + step)
}

// drawLens lays the map of the lens under what stands on the plan, and what
// belongs to the lens over it.
func (m *Model) drawLens(p *planCache, f *site.Floor) {
	c, v := &p.canvas, p.view
	need := float64(m.s.Walk().Settings.Need)
	if lay := m.mapShown(); lay != nil {
		sh := m.shade()
		for y := range v.H {
			for x := range v.W {
				value := lay.At(v.Metres(x, y))
				step := sh.step(value)
				if step < 0 {
					continue
				}
				look := m.look.ink(step)
				switch cell := c.At(x, y); {
				case cell.Rune != 0 && cell.Rune != ' ':
					look.Style = cell.Style
					c.Paint(x, y, look)
				case (x+2*y)%4 == 0:
					c.Set(x, y, sh.digit(step), look)
				case m.lensShown() == heardLens && (m.gaze.other && value < 1 || !m.gaze.other && value < need) && (x+2*y)%4 == 2:
					look.Style = canvas.Bold
					c.Set(x, y, '!', look)
				default:
					c.Set(x, y, ' ', look)
				}
			}
		}
	}
	switch m.lensShown() {
	case errorLens:
		m.drawErrors(p, f)
	case heardLens:
		m.drawAdded(p)
	case oddLens, prepLens:
		m.drawFinding(p, f)
	}
}

// drawAdded shows where one more access point would close the hole that is chosen.
func (m *Model) drawAdded(p *planCache) {
	lay := m.mapShown()
	if lay == nil || m.gaze.item >= len(lay.Holes) || lay.Holes[m.gaze.item].Add == nil {
		return
	}
	if x, y, ok := p.view.Cell(*lay.Holes[m.gaze.item].Add); ok {
		m.put(p, x, y, m.words.fix, m.look.accentStrong)
		m.label(&p.canvas, x, y, "new")
	}
}

// over draws dots on the plan without losing the colour below them.
func (m *Model) over(p *planCache, d *canvas.Dots, l canvas.Look) {
	top := canvas.New(p.view.W, p.view.H)
	d.Draw(top, 0, 0, m.words.glyphs, l)
	for y := range p.view.H {
		for x := range p.view.W {
			if cell := top.At(x, y); cell.Rune != 0 {
				look := cell.Look
				look.Bg = p.canvas.At(x, y).Bg
				if !look.Bg.IsDefault() {
					look.Fg, look.Style = p.canvas.At(x, y).Fg, canvas.Bold
				}
				p.canvas.Set(x, y, cell.Rune, look)
			}
		}
	}
}

// put writes a mark on the plan without losing the colour below it.
func (m *Model) put(p *planCache, x, y int, mark string, l canvas.Look) {
	if bg := p.canvas.At(x, y).Bg; !bg.IsDefault() {
		l.Bg, l.Fg = bg, p.canvas.At(x, y).Fg
	}
	p.canvas.Set(x, y, firstRune(mark), l)
}

// drawErrors draws a line from where the surveyor stood to where the fixes came
// out, on the mean.
func (m *Model) drawErrors(p *planCache, f *site.Floor) {
	d := canvas.NewDots(p.view.W, p.view.H)
	for _, j := range m.standing.Judged {
		if j.Floor != f.ID || math.IsNaN(j.ErrorM) {
			continue
		}
		x0, y0 := p.view.Dot(j.At)
		x1, y1 := p.view.Dot(j.Fix)
		d.Line(x0, y0, x1, y1)
	}
	m.over(p, d, m.look.accent)
	for _, j := range m.standing.Judged {
		if x, y, ok := p.view.Cell(j.At); ok && j.Floor == f.ID {
			mark := m.words.done
			if math.IsNaN(j.ErrorM) {
				mark = m.words.skipped
			}
			m.put(p, x, y, mark, m.look.text)
		}
	}
	w := m.worst()
	if len(w) == 0 {
		return
	}
	if j := m.standing.Judged[w[min(m.gaze.item, len(w)-1)]]; j.Floor == f.ID {
		if x, y, ok := p.view.Cell(j.At); ok {
			m.label(&p.canvas, x, y, j.Point)
		}
		if x, y, ok := p.view.Cell(j.Fix); ok && !math.IsNaN(j.ErrorM) {
			m.put(p, x, y, m.words.fix, m.look.accentStrong)
		}
	}
}

// drawFinding shows the doubt that is chosen: where the plan has it, and where
// it seems to be.
func (m *Model) drawFinding(p *planCache, f *site.Floor) {
	fs := m.findings()
	if m.gaze.item >= len(fs) {
		return
	}
	fi := fs[m.gaze.item]
	if fi.Floor != f.ID {
		return
	}
	if fi.Seems != nil {
		d := canvas.NewDots(p.view.W, p.view.H)
		x0, y0 := p.view.Dot(fi.At)
		x1, y1 := p.view.Dot(*fi.Seems)
		d.Dashes(x0, y0, x1, y1, 2, 2, 0)
		m.over(p, d, m.look.accent)
		if x, y, ok := p.view.Cell(*fi.Seems); ok {
			m.put(p, x, y, m.words.fix, m.look.accentStrong)
		}
	}
	if x, y, ok := p.view.Cell(fi.At); ok && fi.AP < 0 {
		c := &p.canvas
		c.Set(x-1, y, '(', m.look.selected)
		c.Paint(x, y, m.look.selected)
		c.Set(x+1, y, ')', m.look.selected)
	}
}

// drawCursor marks the place that the numbers are of.
func (m *Model) drawCursor(c *canvas.Canvas, r rect, p *planCache) {
	if m.lensShown() == walkLens || !m.gaze.placed || m.answering() {
		return
	}
	x, y, ok := p.view.Cell(m.gaze.at)
	if !ok {
		return
	}
	for _, side := range []struct {
		dx int
		r  rune
	}{{-1, '('}, {1, ')'}} {
		if at := x + side.dx; at >= 0 && at < r.w {
			look := c.At(r.x+at, r.y+y).Look
			look.Style = canvas.Bold
			c.Set(r.x+at, r.y+y, side.r, look)
		}
	}
}

// drawShades draws what the steps of the ramp mean.
func (m *Model) drawShades(c *canvas.Canvas, r rect) {
	sh := m.shade()
	x := r.x
	if m.lensShown() != levelLens || r.w > 54 { // its edges take the whole row
		x += c.Text(x, r.y, sh.unit, m.look.quiet) + 1
	}
	for i := range canvas.Steps {
		step := i
		if sh.descend {
			step = canvas.Steps - 1 - i
		}
		edge := ""
		switch {
		case m.lensShown() == heardLens && m.gaze.other && i > 1:
			return
		case m.lensShown() == heardLens && i == canvas.Steps-1:
			edge = "+"
		case m.lensShown() != heardLens && i < canvas.Steps-1:
			edge = "<" + m.words.number(m.edge(sh.scale.Edges[i]), 0)
		}
		if x+1+canvas.Width(edge) > r.x+r.w {
			return
		}
		c.Set(x, r.y, sh.digit(step), m.look.ink(step))
		x += 1 + c.Text(x+1, r.y, edge, m.look.quiet) + 1
	}
}

// edge is an edge of a scale as the screen shows it.
func (m *Model) edge(v float64) float64 {
	if m.lensShown() == errorLens {
		return m.words.length(v)
	}
	return v
}

// readout says the numbers at the cursor.
func (m *Model) readout() string {
	w := m.words
	if !m.gaze.placed {
		return ""
	}
	at := fmt.Sprintf("%s, %s %s", w.number(w.length(m.gaze.at[0]), 1), w.number(w.length(m.gaze.at[1]), 1), w.unit())
	value := math.NaN()
	if lay := m.mapShown(); lay != nil {
		value = lay.At(m.gaze.at)
	}
	if math.IsNaN(value) {
		switch f := m.s.Site().Floor(m.gaze.floor); {
		case m.lensShown() == oddLens || m.lensShown() == prepLens:
			return at
		case f != nil && !f.Walkable(m.gaze.at):
			return at + ": nobody can stand there."
		case m.layer.err != nil:
			return at + ": no map. " + sentence(m.layer.err)
		case m.layer.out:
			return at + ": the map is being made."
		}
		return at
	}
	switch m.lensShown() {
	case levelLens:
		return fmt.Sprintf("%s: %s at %s dBm.", at, m.apName(m.gaze.ap, m.s.Site().AccessPoints[m.gaze.ap].ID), w.number(value, 0))
	case heardLens:
		switch {
		case m.gaze.other && value < 1:
			return at + ": outside the hull of the access points heard, all on one side."
		case m.gaze.other:
			return at + ": inside the hull of the access points heard."
		}
		return fmt.Sprintf("%s: %s heard, need %d.", at, w.number(value, 0), m.s.Walk().Settings.Need)
	}
	if m.gaze.other {
		return fmt.Sprintf("%s: error to expect %s.%s", at, w.metres(value), m.nearestError())
	}
	return fmt.Sprintf("%s: bound %s.%s", at, w.metres(value), m.nearestError())
}

// nearestError says the error at the nearest point that was judged.
func (m *Model) nearestError() string {
	best, d := -1, math.Inf(1)
	for i, j := range m.standing.Judged {
		if j.Floor == m.gaze.floor {
			if dd := distance(j.At, m.gaze.at); dd < d {
				best, d = i, dd
			}
		}
	}
	if best < 0 {
		return ""
	}
	j := m.standing.Judged[best]
	if math.IsNaN(j.ErrorM) {
		return fmt.Sprintf(" %s had no fix.", j.Point)
	}
	return fmt.Sprintf(" %s was off by %s.", j.Point, m.words.metres(j.ErrorM))
}

func distance(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }
