package tui

import (
	"fmt"
	"math"
	"slices"

	"footrule/internal/canvas"
	"footrule/internal/say"
)

// drawLensSlip says the numbers of the lens.
func (m *Model) drawLensSlip(s *slip) {
	if l := m.lensShown(); !m.standing.Ready() && (l == errorLens || l == oddLens) {
		s.text(m.lensTitle(), m.look.accentStrong)
		s.gap()
		for _, row := range m.fitRows() {
			m.drawFitRow(s, row)
		}
		return
	}
	switch m.lensShown() {
	case levelLens:
		m.drawLevelSlip(s)
	case heardLens:
		m.drawHeardSlip(s)
	case errorLens:
		m.drawErrorSlip(s)
	case oddLens:
		none := "Nothing that this walk could tell."
		if m.hidden() {
			none = "This is a drill: what the program finds stays hidden until it is graded. Look at the levels and the errors, and name it yourself: c."
		}
		m.drawFindings(s, "What does not fit", none)
	case prepLens:
		m.drawFindings(s, "Infrastructure", "Nothing is short as far as the plan says.")
	}
}

func (m *Model) lensTitle() string {
	if m.lensShown() == errorLens {
		return "Position error"
	}
	return "What does not fit"
}

func (m *Model) value(s *slip, name string, e Estimate, decimals int, unit string) {
	m.drawFitRow(s, fitRow{name: name, value: m.words.number(e.Value, decimals), half: m.words.interval(e.Half, decimals), unit: unit})
}

func (m *Model) drawLevelSlip(s *slip) {
	ap := m.s.Site().AccessPoints[m.gaze.ap]
	s.pair(m.apName(m.gaze.ap, ap.ID), m.look.accentStrong, fmt.Sprintf("%d of %d", m.gaze.ap+1, len(m.s.Site().AccessPoints)), m.look.quiet)
	var mine []Curve
	for _, c := range m.standing.Curves {
		if c.AP == m.gaze.ap {
			mine = append(mine, c)
		}
	}
	if lay := m.mapShown(); lay != nil {
		s.text(lay.From, m.look.quiet)
	}
	if !m.standing.Ready() {
		s.gap()
		for _, row := range m.fitRows() {
			m.drawFitRow(s, row)
		}
		return
	}
	if len(mine) == 0 {
		s.wrap("It was never heard, so no level can be shown.", m.look.accent, 3)
		return
	}
	for _, c := range mine {
		s.text(string(c.Band)+" GHz", m.look.strong)
		m.value(s, " at 1 m", c.Level1m, 1, "dBm")
		m.value(s, " exponent", c.Exponent, 1, "")
		m.drawFitRow(s, fitRow{name: " spread", value: m.words.number(c.SigmaDB, 1), unit: "dB"})
		s.pair(" heard at", m.look.text, fmt.Sprintf("%d of %d points", c.Points, c.Points+c.Silent), m.look.text)
	}
	s.gap()
	each := s.room() / len(mine)
	for i, c := range mine {
		if each < 7 {
			if i > 0 {
				break
			}
			each = s.room()
		}
		m.drawCurve(s, c, min(each, 24), len(mine) > 1)
	}
}

func (m *Model) drawHeardSlip(s *slip) {
	need := m.s.Walk().Settings.Need
	s.text("Access points heard", m.look.accentStrong)
	s.text(fmt.Sprintf("at %s dBm or above", m.words.number(m.s.Walk().Settings.ThresholdDBm, 0)), m.look.quiet)
	lay := m.mapShown()
	if lay == nil {
		s.gap()
		m.drawNoMap(s)
		return
	}
	s.text(lay.From, m.look.quiet)
	s.gap()
	if m.gaze.other {
		s.wrap(fmt.Sprintf("Inside the hull of the access points heard: %s %% of the area. Outside, all stand on one side, and errors grow.", m.words.number(100*lay.Inside, 0)), m.look.text, 8)
		return
	}
	for _, sh := range lay.Shares {
		look := m.look.text
		if sh.AtLeast == need {
			look = m.look.strong
		}
		s.pair(fmt.Sprintf("%d or more", sh.AtLeast), look, m.words.number(100*sh.Share, 0)+" %", look)
	}
	s.gap()
	if len(lay.Holes) == 0 {
		s.wrap(fmt.Sprintf("No hole: %d are heard everywhere.", need), m.look.strong, 2)
		return
	}
	s.text(say.Plural(len(lay.Holes), "hole", "holes")+fmt.Sprintf(" below %d", need), m.look.accentStrong)
	for i, h := range lay.Holes {
		if s.room() < 2 && i < len(lay.Holes)-1 {
			s.text(fmt.Sprintf("%d more", len(lay.Holes)-i), m.look.quiet)
			return
		}
		mark, look := "  ", m.look.text
		if i == m.gaze.item {
			mark, look = m.words.next+" ", m.look.accentStrong
		}
		w := m.words
		s.pair(fmt.Sprintf("%s%s, %s %s", mark, w.number(w.length(h.At[0]), 0), w.number(w.length(h.At[1]), 0), w.unit()), look,
			w.area(h.AreaM2), look)
		if i == m.gaze.item && h.Add != nil {
			s.wrap(fmt.Sprintf("one more AP at %s, %s %s closes %s of it", w.number(w.length(h.Add[0]), 0), w.number(w.length(h.Add[1]), 0), w.unit(), w.area(h.ClosesM2)), m.look.text, 3)
		}
	}
}

// area gives an area with its unit.
func (w words) area(m2 float64) string {
	if w.feet {
		return w.number(m2/footM/footM, 0) + " sq ft"
	}
	return w.number(m2, 0) + " m²"
}

func (m *Model) drawNoMap(s *slip) {
	switch {
	case m.layer.err != nil:
		s.wrap(m.words.alarm("No map. "+sentence(m.layer.err)), m.look.accent, 4)
	case m.cfg.Lay == nil:
		s.text("No map here", m.look.quiet)
	default:
		s.text("The map is being made", m.look.quiet)
	}
}

func (m *Model) drawErrorSlip(s *slip) {
	st, w := &m.standing, m.words
	s.text("Position error", m.look.accentStrong)
	metres := func(name string, e Estimate) {
		m.value(s, name, Estimate{w.length(e.Value), w.length(e.Half)}, 1, w.unit())
	}
	metres("Half within", st.CE50M)
	metres("9 of 10", st.CE90M)
	if !math.IsNaN(st.RMSM) {
		m.drawFitRow(s, fitRow{name: "RMS / bound", value: w.number(w.length(st.RMSM), 1), half: "/ " + w.number(w.length(st.BoundM), 1), unit: w.unit()})
	}
	for _, t := range st.Targets {
		look := m.look.accent
		if t.Passed {
			look = m.look.text
		}
		s.wrap(fmt.Sprintf("%.0f %% in %s: %s", 100*t.Share, w.metres(t.WithinM), t.Verdict), look, 2)
	}
	s.gap()
	rank := m.worst()
	rows := min(4, len(rank))
	if s.room() < 12 {
		rows = min(3, rows)
	}
	if h := s.room() - rows - 2; h >= 6 && len(st.ErrorsM) > 1 {
		m.drawSpread(s, min(h, 14))
		s.gap()
	}
	rows = min(len(rank), s.room()-1)
	if len(rank) == 0 {
		s.text("No point is judged yet", m.look.quiet)
		return
	}
	s.pair("Worst points", m.look.strong, "lines to fixes", m.look.quiet)
	from := max(0, min(m.gaze.item-rows+1, len(rank)-rows))
	for i, k := range rank[from : from+rows] {
		j := st.Judged[k]
		mark, look := "  ", m.look.text
		if from+i == m.gaze.item {
			mark, look = w.next+" ", m.look.accentStrong
		}
		e := "no fix"
		if !math.IsNaN(j.ErrorM) {
			e = w.metres(j.ErrorM)
		}
		s.pair(mark+joined("  ", canvas.Cut(j.Point, 8, w.cut), j.Why), look, e, look)
	}
}

func (m *Model) drawFindings(s *slip, title, none string) {
	fs := m.findings()
	if len(fs) == 0 {
		s.text(title, m.look.accentStrong)
		s.gap()
		s.wrap(none, m.look.text, 7)
		return
	}
	s.pair(title, m.look.accentStrong, fmt.Sprintf("%d of %d", m.gaze.item+1, len(fs)), m.look.quiet)
	s.gap()
	for i, f := range fs {
		if s.room() < 9 && len(fs) > i+1 && i != m.gaze.item {
			continue
		}
		mark, look := "  ", m.look.text
		if i == m.gaze.item {
			mark, look = m.words.next+" ", m.look.accentStrong
		}
		s.text(mark+m.words.say(f.Title), look)
	}
	s.gap()
	f := fs[min(m.gaze.item, len(fs)-1)]
	s.wrap(m.words.say(f.Evidence), m.look.text, max(2, s.room()-4))
	s.wrap(m.words.say(f.Do), m.look.strong, s.room())
}

// drawCurve draws in h rows how a radio's level falls with distance: what was
// heard as dots, the fit as a line, its spread as dashes on both sides. The
// distance goes by its logarithm, so that the fit is straight.
func (m *Model) drawCurve(s *slip, c Curve, h int, named bool) {
	if h < 6 || len(c.DistanceM) == 0 || s.room() < h {
		return
	}
	title := "dBm by distance"
	if named {
		title = string(c.Band) + " GHz, " + title
	}
	s.text(title, m.look.quiet)
	h -= 2
	lo, hi := slices.Min(c.DistanceM), slices.Max(c.DistanceM)
	lo, hi = math.Log10(max(0.5, 0.9*lo)), math.Log10(max(1, 1.1*hi))
	line := func(x float64) float64 { return c.Level1m.Value - 10*c.Exponent.Value*x }
	bottom, top := math.Inf(1), math.Inf(-1)
	for i, l := range c.LevelDBm {
		l += c.WallsDB[i]
		bottom, top = min(bottom, l), max(top, l)
	}
	bottom, top = min(bottom, line(hi)-c.SigmaDB), max(top, line(lo)+c.SigmaDB)
	bottom, top = 10*math.Floor(bottom/10), 10*math.Ceil(top/10)
	const axis = 5
	w := s.r.w - axis
	dots := func() *canvas.Dots { return canvas.NewDots(w, h) }
	px := func(x float64) float64 { return (x - lo) / (hi - lo) * float64(2*w-1) }
	py := func(y float64) float64 { return (top - y) / (top - bottom) * float64(4*h-1) }
	x, y := s.r.x+axis, s.r.y+s.y
	band := dots()
	for _, off := range []float64{-c.SigmaDB, c.SigmaDB} {
		band.Dashes(px(lo), py(line(lo)+off), px(hi), py(line(hi)+off), 1, 3, 0)
	}
	band.Draw(s.c, x, y, m.words.glyphs, m.look.empty)
	fit := dots()
	fit.Line(px(lo), py(line(lo)), px(hi), py(line(hi)))
	fit.Draw(s.c, x, y, m.words.glyphs, m.look.full)
	seen := dots()
	for i, d := range c.DistanceM {
		seen.Dot(int(px(math.Log10(max(0.5, d)))), int(py(c.LevelDBm[i]+c.WallsDB[i])))
	}
	if m.cfg.ASCII {
		for i, d := range c.DistanceM {
			s.c.Set(x+int(px(math.Log10(max(0.5, d)))/2), y+int(py(c.LevelDBm[i]+c.WallsDB[i])/4), 'o', m.look.strong)
		}
	} else {
		seen.Draw(s.c, x, y, m.words.glyphs, m.look.accentStrong)
	}
	s.c.Right(x-1, y, axis-1, m.words.number(top, 0), m.look.quiet)
	s.c.Right(x-1, y+h-1, axis-1, m.words.number(bottom, 0), m.look.quiet)
	s.y += h
	s.c.Text(x, s.r.y+s.y, m.words.metres(math.Pow(10, lo)), m.look.quiet)
	s.c.Right(s.r.x+s.r.w, s.r.y+s.y, w, m.words.metres(math.Pow(10, hi)), m.look.quiet)
	s.y++
}

// drawSpread draws in h rows which share of the fixes is within which error, the
// intervals of the half and of nine in ten as bars, and what is wanted of them.
func (m *Model) drawSpread(s *slip, h int) {
	es := m.standing.ErrorsM
	s.text("Share of fixes within", m.look.quiet)
	h -= 2
	top := es[len(es)-1]
	for _, t := range m.standing.Targets {
		top = max(top, t.WithinM)
	}
	const axis = 5
	w := s.r.w - axis
	x, y := s.r.x+axis, s.r.y+s.y
	px := func(e float64) float64 { return e / top * float64(2*w-1) }
	py := func(q float64) float64 { return (1 - q) * float64(4*h-1) }
	quiet := canvas.NewDots(w, h)
	for _, q := range []float64{0.5, 0.9} {
		quiet.Dashes(0, py(q), px(top), py(q), 1, 5, 0)
	}
	quiet.Draw(s.c, x, y, m.words.glyphs, m.look.empty)
	bars := canvas.NewDots(w, h) // the intervals of the two
	for q, e := range map[float64]Estimate{0.5: m.standing.CE50M, 0.9: m.standing.CE90M} {
		if y := py(q); e.Half > 0 {
			bars.Line(px(max(0, e.Value-e.Half)), y, px(min(top, e.Value+e.Half)), y)
		}
	}
	line := canvas.NewDots(w, h)
	lx, ly := 0.0, py(0)
	for i, e := range es {
		nx, ny := px(e), py(float64(i+1)/float64(len(es)))
		line.Line(lx, ly, nx, ly)
		line.Line(nx, ly, nx, ny)
		lx, ly = nx, ny
	}
	line.Line(lx, ly, px(top), ly)
	bars.Draw(s.c, x, y, m.words.glyphs, m.look.accent)
	line.Draw(s.c, x, y, m.words.glyphs, m.look.full)
	for _, t := range m.standing.Targets {
		s.c.Text(x+int(px(t.WithinM)/2), y+int(py(t.Share)/4), m.words.fix, m.look.accentStrong)
	}
	s.c.Right(x-1, y, axis-1, "100%", m.look.quiet)
	s.c.Right(x-1, y+int(py(.5)/4), axis-1, "50%", m.look.quiet)
	s.c.Right(x-1, y+h-1, axis-1, "0%", m.look.quiet)
	s.y += h
	s.c.Text(x, s.r.y+s.y, "0", m.look.quiet)
	s.c.Right(s.r.x+s.r.w, s.r.y+s.y, w, m.words.metres(top), m.look.quiet)
	s.y++
}
