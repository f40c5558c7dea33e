package tui

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"footrule/internal/canvas"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// planKey is all that the drawn plan depends on.
type planKey struct {
	w, h, zoom, rev int
	floor           string
	current, sel    int
	picking         bool
	phase           walk.Phase
	at              orb.Point
	facing          float64
	doubts          int
	lens            lens
	gaze            gaze // without the cursor
	layer           int
	standing        int
	answer          answerKey
}

// planCache is the plan as it was last drawn.
type planCache struct {
	key    planKey
	view   canvas.Viewport
	canvas canvas.Canvas
	hidden int // stops to do that the zoom hides
}

// floorShown is the floor of the selection, of the current stop, or of the last visit.
func (m *Model) floorShown() *site.Floor {
	s := m.s.Site()
	if f := m.answerFloor(); f != nil {
		return f
	}
	if m.lensShown() != walkLens && m.gaze.floor != "" {
		return s.Floor(m.gaze.floor)
	}
	if m.picking && m.sel >= 0 {
		return s.Floor(m.s.Stops()[m.sel].Floor)
	}
	if id, _ := m.place(); id != "" {
		return s.Floor(id)
	}
	return s.Floor(m.s.Stops()[0].Floor)
}

// drawPlan gives the plan of w by h cells, drawn again only where something on
// it has changed.
func (m *Model) drawPlan(w, h int) *planCache {
	f := m.floorShown()
	key := planKey{w: w, h: h, zoom: m.zoom, rev: m.rev, current: -1, sel: m.sel, picking: m.picking,
		phase: m.s.Phase(), at: m.s.At(), facing: m.s.Recording().Facing, doubts: len(m.check.doubts)}
	if f != nil {
		key.floor = f.ID
	}
	if i, ok := m.s.Current(); ok {
		key.current = i
	}
	if key.lens = m.lensShown(); key.lens != walkLens {
		key.gaze, key.layer, key.standing = m.gaze, m.layer.seq, m.standingRev
		if m.layer.out {
			key.layer = -key.layer
		}
		if m.zoom == 0 {
			key.gaze.at = orb.Point{}
		}
	}
	key.answer = m.answerKey()
	p := &m.plan
	if key == p.key {
		return p
	}
	p.key = key
	p.canvas.Resize(w, h)
	if f == nil {
		p.canvas.Text(1, 1, "This floor is not on the plan.", m.look.quiet)
		return p
	}
	p.view = canvas.Fit(m.bound(f), w, h, 0)
	if m.zoom > 0 {
		mid := key.at
		if m.answering() && m.ans.step == ofPlace {
			mid = m.ans.place
		} else if key.lens != walkLens {
			mid = m.gaze.at
		} else if m.picking && m.sel >= 0 {
			mid = m.s.Stops()[m.sel].At
		} else if key.current < 0 {
			_, mid = m.place()
		}
		p.view = p.view.Zoom(mid, math.Pow(2, float64(m.zoom)))
	}
	m.drawFloor(p, f)
	if key.lens != walkLens {
		m.drawLens(p, f)
		m.drawAnswerOn(p, f)
		m.drawBoxes(p, f)
		return p
	}
	m.drawWay(p, f)
	m.drawStops(p, f)
	m.drawAnswerOn(p, f)
	m.drawBoxes(p, f)
	m.drawStand(p, f)
	return p
}

// bound is the outline with the access points that hang near it.
func (m *Model) bound(f *site.Floor) orb.Bound {
	b := f.BoundingBox()
	near := b.Pad(10)
	for _, ap := range m.s.Site().AccessPoints {
		if ap.Floor == f.ID && near.Contains(ap.At) {
			b = b.Extend(ap.At)
		}
	}
	return b
}

func (m *Model) drawFloor(p *planCache, f *site.Floor) {
	if m.cfg.Dark != nil && m.lensShown() == walkLens {
		underlay(&p.canvas, p.view, func(at orb.Point, side float64) bool { return m.cfg.Dark(f.ID, at, side) }, m.words, m.look.empty)
	}
	drawPlanOf(&p.canvas, p.view, f, m.words, m.look)
}

// drawWay draws the way from here to the current stop as dashes.
func (m *Model) drawWay(p *planCache, f *site.Floor) {
	if m.s.Phase() != walk.Going || m.picking || m.guide.key.floor != f.ID {
		return
	}
	line := []orb.Point{m.guide.key.from, m.guide.key.to}
	if m.guide.have {
		line = m.guide.leg.Via
	}
	d, phase := canvas.NewDots(p.view.W, p.view.H), 0
	for i := 1; i < len(line); i++ {
		x0, y0 := p.view.Dot(line[i-1])
		x1, y1 := p.view.Dot(line[i])
		phase = d.Dashes(x0, y0, x1, y1, 1, 2, phase)
	}
	if m.cfg.ASCII { // dots apart from the marks of points to do
		over := canvas.New(p.view.W, p.view.H)
		d.Draw(over, 0, 0, canvas.ASCII, m.look.way)
		for y := range p.view.H {
			for x := range p.view.W {
				if !over.Blank(x, y) && p.canvas.Blank(x, y) {
					p.canvas.Set(x, y, '\'', m.look.way)
				}
			}
		}
		return
	}
	d.Draw(&p.canvas, 0, 0, m.words.glyphs, m.look.way)
}

func (m *Model) drawStops(p *planCache, f *site.Floor) {
	c := &p.canvas
	p.hidden = 0
	// Those to do are drawn last, so that they stay visible where points share a cell.
	for _, st := range []walk.Status{walk.Done, walk.Skipped, walk.Todo} {
		mark, look := m.words.done, m.look.text
		switch st {
		case walk.Skipped:
			mark, look = m.words.skipped, m.look.quiet
		case walk.Todo:
			mark, look = m.words.todo, m.look.strong
		}
		r := firstRune(mark)
		for i, s := range m.s.Stops() {
			if s.Floor != f.ID || m.s.Status(i) != st {
				continue
			}
			if x, y, ok := p.view.Cell(s.At); ok {
				c.Set(x, y, r, look)
			} else if st == walk.Todo {
				p.hidden++
			}
		}
	}
}

func firstRune(s string) rune {
	r, _ := utf8.DecodeRuneInString(s)
	return r
}

func (m *Model) drawBoxes(p *planCache, f *site.Floor) {
	c := &p.canvas
	for i, ap := range m.s.Site().AccessPoints {
		x, y, ok := p.view.Cell(ap.At)
		if ap.Floor != f.ID || !ok {
			continue
		}
		look := m.look.box
		if m.lensShown() != walkLens { // to stand out from the ramp
			look = m.look.chip
		}
		for _, d := range m.check.doubts {
			if d.AP == i {
				look = m.look.accentStrong
				look.Style |= canvas.Reverse
			}
		}
		if m.boxChosen(i) {
			look = m.look.accentStrong
			look.Style |= canvas.Reverse
		}
		paintBox(c, x, y, m.short[i], look, m.cfg.Profile == canvas.None || m.cfg.ASCII)
	}
}

// boxChosen reports whether the lens is about this access point.
func (m *Model) boxChosen(i int) bool {
	if m.answering() {
		return m.apAnswered(i)
	}
	switch m.lensShown() {
	case levelLens:
		return i == m.gaze.ap
	case oddLens, prepLens:
		fs := m.findings()
		return m.gaze.item < len(fs) && fs[m.gaze.item].AP == i
	}
	return false
}

// drawStand draws what is about now: the next point, the selection, where the
// surveyor is and faces.
func (m *Model) drawStand(p *planCache, f *site.Floor) {
	c, v := &p.canvas, p.view
	if floor, at, ok := m.s.Here(); ok && floor == f.ID && m.s.Phase() == walk.Going {
		if x, y, ok := v.Cell(at); ok {
			c.Text(x, y, m.words.you, m.look.accent)
		}
	}
	stops := m.s.Stops()
	if i := p.key.current; i >= 0 && stops[i].Floor == f.ID {
		switch m.s.Phase() {
		case walk.Going:
			if x, y, ok := v.Cell(m.s.At()); ok {
				c.Text(x, y, m.words.next, m.look.accentStrong)
				if !m.picking {
					m.label(c, x, y, stops[i].Point)
				}
			}
		case walk.Scanning, walk.Turning, walk.Reviewing:
			if x, y, ok := v.Cell(m.s.At()); ok {
				c.Text(x, y, m.words.you, m.look.accentStrong)
				m.drawFacing(c, x, y)
			}
		}
	}
	if m.picking && m.sel >= 0 && stops[m.sel].Floor == f.ID {
		if x, y, ok := v.Cell(stops[m.sel].At); ok {
			c.Set(x-1, y, '(', m.look.selected)
			c.Paint(x, y, m.look.selected)
			c.Set(x+1, y, ')', m.look.selected)
			m.label(c, x+1, y, stops[m.sel].Point)
		}
	}
}

// drawFacing draws an arrow that leads away from the stand.
func (m *Model) drawFacing(c *canvas.Canvas, x, y int) {
	deg := m.s.Recording().Facing
	if deg == walk.NoFacing || m.s.Phase() == walk.Reviewing {
		return
	}
	k := eighthOf(deg)
	step := [8][2]int{{0, -1}, {1, -1}, {1, 0}, {1, 1}, {0, 1}, {-1, 1}, {-1, 0}, {-1, -1}}[k]
	// Two columns are as wide as a row is high.
	c.Set(x+2*step[0], y+step[1], m.words.arrows[k], m.look.accentStrong)
}

// label writes a name beside the mark at x where nothing stands, blanks around it.
func (m *Model) label(c *canvas.Canvas, x, y int, name string) {
	name = canvas.Cut(name, 10, m.words.cut)
	n := canvas.Width(name)
	w, _ := c.Size()
	free := func(from int) bool {
		if from < 0 || from+n > w {
			return false
		}
		for i := from - 1; i <= from+n; i++ {
			if i == x {
				continue
			}
			if cell := c.At(i, y); !c.Blank(i, y) && !(shaded(cell) && (cell.Rune == '!' || '0' <= cell.Rune && cell.Rune <= '9')) {
				return false
			}
		}
		return true
	}
	for _, from := range []int{x + 2, x - 2 - n} {
		if free(from) {
			look := m.look.accent
			if shaded(c.At(from, y)) { // to stand out from the ramp
				look = m.look.chip
			}
			c.Text(from, y, name, look)
			return
		}
	}
}

// shaded reports whether a lens lies under a cell.
func shaded(c canvas.Cell) bool { return !c.Bg.IsDefault() }

// drawLegend draws the scale bar and what the marks mean.
func (m *Model) drawLegend(c *canvas.Canvas, r rect, p *planCache) {
	x := r.x
	if l := m.lensShown(); l == levelLens || l == heardLens || l == errorLens {
		m.drawShades(c, r)
		return
	}
	if p.view.PerCol > 0 {
		x += paintScaleBar(c, x, r.y, p.view.PerCol, m.words, m.look) + 3
	}
	pr := m.s.Progress()
	parts := []string{fmt.Sprintf("%s %d done", m.words.done, pr.Done), fmt.Sprintf("%s %d to do", m.words.todo, pr.Todo)}
	if pr.Skipped > 0 {
		parts = append(parts, fmt.Sprintf("%s %d skipped", m.words.skipped, pr.Skipped))
	}
	if m.zoom > 0 {
		parts = []string{fmt.Sprintf("zoom %d", 1<<m.zoom), parts[1]}
		if p.hidden > 0 {
			parts[1] += fmt.Sprintf(", %d off screen", p.hidden)
		}
	}
	for _, s := range parts {
		n := canvas.Width(s)
		if x+n > r.x+r.w {
			return
		}
		x += c.Text(x, r.y, s, m.look.quiet) + 2
	}
}

// shortNames gives every access point a number for the plan: the digits at the
// end of its ID where those are different for all, else its place in the list.
func shortNames(s *site.Site) []string {
	out := make([]string, len(s.AccessPoints))
	seen := map[string]bool{}
	for i, ap := range s.AccessPoints {
		n := len(ap.ID)
		for n > 0 && '0' <= ap.ID[n-1] && ap.ID[n-1] <= '9' {
			n--
		}
		d := strings.TrimLeft(ap.ID[n:], "0")
		if d == "" || len(d) > 3 || seen[d] {
			for k := range out {
				out[k] = strconv.Itoa(k + 1)
			}
			return out
		}
		seen[d] = true
		out[i] = d
	}
	return out
}
