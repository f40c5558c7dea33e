package tui

import (
	"fmt"
	"math"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/radio"
	"footrule/internal/radio/grouping"
	"footrule/internal/say"
)

// View gives the screen as text, made again only after something has changed.
func (m *Assign) View() string {
	if m.w <= 0 || m.h <= 0 {
		return ""
	}
	if !m.drawn {
		m.frame.Resize(m.w, m.h)
		m.draw(m.frame)
		m.view, m.drawn = m.frame.String(m.cfg.Profile), true
	}
	return m.view
}

// say makes foreign text fit for the screen: cleaned, and ASCII where that is asked for.
func (m *Assign) say(s string) string {
	s = canvas.Clean(s)
	if !m.cfg.ASCII {
		return s
	}
	return strings.Map(func(r rune) rune {
		switch {
		case r == '−' || r == '–':
			return '-'
		case r >= 0x80:
			return '?'
		}
		return r
	}, s)
}

func (m *Assign) draw(c *canvas.Canvas) {
	l, ok := layoutOf(m.w, m.h, false)
	if !ok {
		c.Text(0, 0, m.words.tooSmall("this screen", m.w, m.h), m.look.text)
		return
	}
	right := fmt.Sprintf("%d open, %d saved", m.open(), m.saved)
	if m.rev > 0 {
		right += fmt.Sprintf("   revision %d", m.rev)
	}
	n := c.Right(l.w, 0, l.w/2, right, m.look.text)
	x := c.Text(0, 0, "RADIOS", m.look.chip) + 2
	c.Text(x, 0, canvas.Cut(m.say(m.plan.Name), l.w-n-2-x, m.words.cut), m.look.strong)

	main := slip{c: c, r: rect{0, 2, l.plan.w, l.h - 5}}
	switch md := m.mode(); {
	case m.help:
		m.drawHelp(&main, md)
	case md == settled || m.current() == nil:
		main.text("Nothing to propose", m.look.strong)
		main.gap()
		main.wrap("All that was heard is on the plan where the walks have it.", m.look.text, 3)
	case md == placing:
		m.drawChoices(&main)
	default:
		m.drawProposal(&main)
	}
	m.drawList(&slip{c: c, r: rect{l.slip.x, 2, l.slip.w, l.h - 5}})

	c.Fill(0, l.rule, l.w, 1, m.words.rule, m.look.quiet)
	line, look := m.now(), m.look.strong
	if line.alarm {
		look = m.look.accentStrong
	}
	c.Text(0, l.now, canvas.Cut(m.say(line.text), l.w, m.words.cut), look)
	x = 0
	for _, k := range assignKeyLine(m.mode(), l.w) {
		x += c.Text(x, l.keys, k, m.look.quiet) + 2
	}
}

// now says what just happened and what space does.
func (m *Assign) now() note {
	switch m.mode() {
	case awaiting:
		return note{"Saving the plan.", false}
	case placing:
		return note{"Which radio sends it? Space takes the marked one.", false}
	}
	if m.said.text != "" {
		return m.said
	}
	p := m.current()
	switch {
	case p == nil:
		return note{}
	case m.out[p.BSSID]:
		return note{"It is left out. u takes that back.", false}
	case p.To == nil:
		return note{"No place is proposed: m chooses a radio, x leaves it out.", false}
	}
	return note{fmt.Sprintf("Space puts it under %s.", p.ToName), false}
}

// title says what a proposal is in a line.
func title(p *grouping.Proposal) string {
	switch p.Kind {
	case grouping.Add:
		return "Add it to " + p.ToName
	case grouping.Move:
		return "Move it from " + p.Planned + " to " + p.ToName
	case grouping.AddRadio:
		return "Add it as a radio: " + p.ToName
	case grouping.Doubt:
		return "Doubtful under " + p.Planned
	case grouping.KeptOut:
		return "Kept out"
	}
	return "No place known"
}

func channelWords(freqMHz int) string {
	band, ok := radio.BandOf(freqMHz)
	if c, have := radio.Channel(freqMHz); ok && have {
		return fmt.Sprintf("channel %d of %s GHz", c, band)
	}
	if freqMHz == 0 {
		return "channel unknown"
	}
	return fmt.Sprintf("%d MHz", freqMHz)
}

// drawHead says which BSSID it is about and how it was heard.
func (m *Assign) drawHead(s *slip, p *grouping.Proposal) {
	ssid := "SSID not sent"
	if len(p.SSIDs) > 0 {
		ssid = `"` + m.say(p.SSIDs[0]) + `"`
	}
	if n := len(p.SSIDs) - 1; n > 0 {
		ssid += fmt.Sprintf(" and %d more", n)
	}
	b := p.BSSID.String()
	s.pair(b, m.look.strong, canvas.Cut(ssid, s.r.w-len(b)-2, m.words.cut), m.look.strong)
	s.wrap(fmt.Sprintf("%s, %s at %s, strongest %s dBm", channelWords(p.FreqMHz), say.Plural(p.Scans, "scan", "scans"),
		say.Plural(p.Places, "place", "places"), m.words.number(p.StrongestDBm, 0)), m.look.quiet, 2)
	s.gap()
}

// drawProposal shows the proposal with its evidence.
func (m *Assign) drawProposal(s *slip) {
	p := m.current()
	m.drawHead(s, p)
	sc := ""
	if !math.IsNaN(p.Score) {
		sc = fmt.Sprintf("%s %s", m.words.number(p.Score, 2), p.Confidence)
	}
	look := m.look.accentStrong
	if m.out[p.BSSID] || p.Kind == grouping.KeptOut {
		look = m.look.strong
	}
	s.pair(m.say(title(p)), look, sc, m.look.text)
	why := p.Why
	if why != "" {
		why = strings.ToUpper(why[:1]) + why[1:] + "."
	}
	s.wrap(m.say(why), m.look.text, 4)
	if p.OwnSSID && p.To != nil {
		s.wrap("! It carries an SSID of this site and is not on the plan.", m.look.accent, 2)
	}
	if len(p.Evidence) == 0 {
		return
	}
	s.gap()
	s.text("For and against, by weight", m.look.strong)
	for _, e := range p.Evidence {
		w := m.words.signed(e.Weight, 1)
		if math.IsInf(e.Weight, -1) {
			w = "never"
		}
		for i, line := range canvas.Wrap(m.say(e.Text), s.r.w-7) {
			if s.room() <= 0 {
				return
			}
			if i == 0 {
				s.c.Right(s.r.x+5, s.r.y+s.y, 5, w, m.look.accent)
			}
			s.c.Text(s.r.x+7, s.r.y+s.y, line, m.look.text)
			s.y++
		}
	}
}

// drawChoices lists the radios that the BSSID may go to.
func (m *Assign) drawChoices(s *slip) {
	p := m.current()
	m.drawHead(s, p)
	s.text("Under which radio?", m.look.strong)
	rows := max(1, s.room()-1)
	from := max(0, min(m.pick-rows/2, len(m.choices)-rows))
	for i := from; i < min(len(m.choices), from+rows); i++ {
		mark, look := " ", m.look.text
		if i == m.pick {
			mark, look = m.words.next, m.look.selected
		}
		name := m.choices[i].Name(m.plan)
		note := ""
		switch name {
		case p.ToName:
			note = "  proposed"
		case p.Planned:
			note = "  as planned"
		}
		s.text(mark+" "+m.say(name)+note, look)
	}
	s.text(fmt.Sprintf("%d of %d", m.pick+1, len(m.choices)), m.look.quiet)
}

// drawList draws all proposals, the shown one marked, in the room that there is.
func (m *Assign) drawList(s *slip) {
	ps := m.report.Proposals
	if len(ps) == 0 {
		return
	}
	s.pair("Proposals", m.look.strong, fmt.Sprintf("%d of %d", m.at+1, len(ps)), m.look.text)
	rows := max(1, s.room())
	from := max(0, min(m.at-rows/2, len(ps)-rows))
	for i := from; i < min(len(ps), from+rows); i++ {
		p := &ps[i]
		mark, look, does := " ", m.look.text, listWord(p.Kind)
		if m.out[p.BSSID] {
			does = "out"
		}
		if !m.isOpen(i) {
			look = m.look.quiet
		}
		if i == m.at {
			mark, look = m.words.next, m.look.selected
		}
		s.pair(mark+p.BSSID.String(), look, does, look)
	}
}

// listWord is a kind in at most eight columns.
func listWord(k grouping.Kind) string {
	switch k {
	case grouping.AddRadio:
		return "radio"
	case grouping.KeptOut:
		return "kept out"
	}
	return string(k)
}

func (m *Assign) drawHelp(s *slip, md assignMode) {
	s.text("What the keys do", m.look.strong)
	for _, b := range assignBindings(md) {
		name := b.name
		if name == "" {
			name = keyNames(b.keys)
		}
		if s.room() <= 0 {
			return
		}
		s.c.Text(s.r.x+1, s.r.y+s.y, canvas.Cut(name, 18, m.words.cut), m.look.accent)
		for _, line := range canvas.Wrap(b.long, s.r.w-20) {
			if s.room() > 0 {
				s.c.Text(s.r.x+20, s.r.y+s.y, line, m.look.text)
				s.y++
			}
		}
	}
	s.gap()
	s.wrap("A score sums up weights set by judgement; it is not a probability.", m.look.quiet, 2)
	s.text("Any key goes back.", m.look.quiet)
}
