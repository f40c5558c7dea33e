package tui

import (
	"fmt"
	"strings"

	"footrule/internal/canvas"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
)

// letters are 3 by 5 pixels each, row by row from the upper left.
var letters = map[rune]uint16{
	'A': 0b010_101_111_101_101, 'B': 0b110_101_110_101_110, 'C': 0b011_100_100_100_011, 'D': 0b110_101_101_101_110,
	'E': 0b111_100_110_100_111, 'F': 0b111_100_110_100_100, 'G': 0b011_100_101_101_011, 'H': 0b101_101_111_101_101,
	'I': 0b111_010_010_010_111, 'J': 0b001_001_001_101_010, 'K': 0b101_101_110_101_101, 'L': 0b100_100_100_100_111,
	'M': 0b101_111_111_101_101, 'N': 0b110_101_101_101_101, 'O': 0b010_101_101_101_010, 'P': 0b110_101_110_100_100,
	'Q': 0b010_101_101_110_011, 'R': 0b110_101_110_101_101, 'S': 0b011_100_010_001_110, 'T': 0b111_010_010_010_010,
	'U': 0b101_101_101_101_111, 'V': 0b101_101_101_101_010, 'W': 0b101_101_111_111_101, 'X': 0b101_101_010_101_101,
	'Y': 0b101_101_010_010_010, 'Z': 0b111_001_010_100_111, '-': 0b000_000_111_000_000, '.': 0b000_000_000_000_010,
}

// bigNow reports whether the big letters have the half of the window now.
func (m *Model) bigNow() bool {
	return m.big && m.replay == nil && m.lensShown() == walkLens && !m.help && !m.reading && !m.answering()
}

// bigText draws a text in big letters in at most w columns and gives the columns
// used; 0, and nothing drawn, where there is no room or no such letter.
func (m *Model) bigText(c *canvas.Canvas, x, y, w int, text string, size int, l canvas.Look) int {
	text = strings.ToUpper(strings.ReplaceAll(text, m.words.minus, "-"))
	rs := []rune(text)
	if len(rs) == 0 || len(rs)*7*size-size > w {
		return 0
	}
	for _, r := range rs {
		if _, ok := letters[r]; !ok && r != ' ' && (r < '0' || r > '9') {
			return 0
		}
	}
	for i, r := range rs {
		bits := letters[r]
		if r >= '0' && r <= '9' {
			bits = digits[r-'0']
		}
		m.drawPixels(c, x+i*7*size, y, bits, size, l)
	}
	return len(rs)*7*size - size
}

// drawPixels draws one letter or digit, a pixel two columns wide.
func (m *Model) drawPixels(c *canvas.Canvas, x, y int, bits uint16, size int, l canvas.Look) {
	r := '█'
	if m.cfg.ASCII {
		r = '#'
	}
	for i := range 15 {
		if bits&(1<<(14-i)) != 0 {
			c.Fill(x+i%3*2*size, y+i/3*size, 2*size, size, r, l)
		}
	}
}

// drawBig says at arm's length where to go and how many are heard.
func (m *Model) drawBig(s *slip) {
	i, ok := m.s.Current()
	if m.picking && m.sel >= 0 {
		i, ok = m.sel, true
	}
	if !ok {
		s.text("All points are done", m.look.strong)
	} else {
		st := m.s.Stops()[i]
		s.text("Go to "+st.Point, m.look.accentStrong)
		size := 1
		if s.r.h >= 40 && s.r.w >= 60 {
			size = 2
		}
		if m.bigText(s.c, s.r.x, s.r.y+s.y, s.r.w, canvas.Clean(st.Point), size, m.look.accentStrong) > 0 {
			s.y += 5*size + 1
		}
		if floor, from, here := m.s.Here(); here && floor == st.Floor {
			m.drawBigWay(s, from, i, size)
		} else {
			m.drawWayWords(s, i)
		}
	}
	need := m.s.Walk().Settings.Need
	if _, _, live := m.s.Live(); live && s.room() >= 6 {
		heard := m.s.HeardNow()
		look := m.look.strong
		if heard < need {
			look = m.look.accentStrong
		}
		s.y = max(s.y, s.r.h-6)
		n := m.bigText(s.c, s.r.x, s.r.y+s.y, s.r.w-10, fmt.Sprint(heard), 1, look)
		s.c.Text(s.r.x+n+2, s.r.y+s.y, "heard", look)
		s.c.Text(s.r.x+n+2, s.r.y+s.y+2, fmt.Sprintf("need %d", need), m.look.text)
		s.y += 5
	} else if m.scan.err != nil {
		s.wrap(m.words.alarm(sentence(m.scan.err)), m.look.accent, s.room())
	}
}

// drawBigWay draws the arrow of the first leg and the whole length.
func (m *Model) drawBigWay(s *slip, from orb.Point, i, size int) {
	leg, k, ok := m.legTo(i, from)
	if !ok {
		s.text("here", m.look.strong)
		return
	}
	if s.room() < 5*size+7 {
		m.drawWayWords(s, i)
		return
	}
	top := s.y
	if m.cfg.ASCII {
		s.text(ways[k], m.look.accentStrong)
	} else {
		m.drawArrow(s, float64(45*k), size)
	}
	length := m.words.number(m.words.length(leg.LengthM), 0)
	if n := m.bigText(s.c, s.r.x+12*size, s.r.y+top, s.r.w-12*size-3, length, size, m.look.strong); n > 0 {
		s.c.Text(s.r.x+12*size+n+1, s.r.y+top+5*size-1, m.words.unit(), m.look.text)
		s.y = max(s.y, top+5*size)
	}
	s.y = max(s.y, top+1)
	if parts := m.words.leg(leg); len(parts) > 1 {
		s.text("then "+parts[1], m.look.text)
	}
	s.gap()
}

func (m *Model) toggleBig() tea.Cmd {
	m.big = !m.big
	return nil
}

// clicked takes a mouse: the nearest stop or, through a lens, the place.
func (m *Model) clicked(msg tea.MouseMsg) tea.Cmd {
	ev := tea.MouseEvent(msg)
	switch {
	case ev.Button == tea.MouseButtonWheelUp && ev.Action == tea.MouseActionPress:
		return m.zoomBy(1)
	case ev.Button == tea.MouseButtonWheelDown && ev.Action == tea.MouseActionPress:
		return m.zoomBy(-1)
	case ev.Button != tea.MouseButtonLeft || ev.Action != tea.MouseActionPress || m.help || m.reading:
		return nil
	}
	l, ok := layoutOf(m.w, m.h, m.bigNow())
	if ok && m.answering() {
		return m.answerClicked(ev, l)
	}
	x, y := ev.X-l.plan.x, ev.Y-l.plan.y
	if !ok || x < 0 || y < 0 || x >= l.plan.w || y >= l.plan.h || !(m.plan.view.PerCol > 0) {
		return nil
	}
	at := m.plan.view.Metres(x, y)
	f := m.floorShown()
	if f == nil {
		return nil
	}
	switch md := m.mode(); {
	case md == looking || md == gazing:
		m.gaze.floor, m.gaze.at, m.gaze.placed, m.gaze.moved = f.ID, at, true, true
		if m.gaze.lens == levelLens {
			if ap := m.boxAt(f.ID, at); ap >= 0 {
				m.gaze.ap = ap
			}
		}
	case md == walking || md == choosing || md == over && !m.s.Walk().Completed:
		if i := m.stopAt(f.ID, at); i >= 0 {
			if m.picking && m.sel == i {
				return m.choose()
			}
			m.picking, m.sel, m.said = true, i, note{}
		}
	}
	return nil
}

// clickCells is how near to a mark a click has to be, in columns.
const clickCells = 3

func (m *Model) stopAt(floor string, at orb.Point) int {
	best, d := -1, clickCells*m.plan.view.PerCol
	for i, st := range m.s.Stops() {
		if st.Floor == floor && distance(st.At, at) <= d {
			best, d = i, distance(st.At, at)
		}
	}
	return best
}

func (m *Model) boxAt(floor string, at orb.Point) int {
	best, d := -1, clickCells*m.plan.view.PerCol
	for i, ap := range m.s.Site().AccessPoints {
		if ap.Floor == floor && distance(ap.At, at) <= d {
			best, d = i, distance(ap.At, at)
		}
	}
	return best
}
