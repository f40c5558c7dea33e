package report

import (
	"fmt"
	"math"
	"slices"

	"footrule/internal/coverage"
	"footrule/internal/figure"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// plan draws a floor bare, for a column of text.
func (w *writer) plan(floor int) *figure.Plan {
	p := coverage.Bare(w.Site, floor)
	p.Inset = true
	return p
}

// size says how large a floor is, for who can't see it.
func (w *writer) size(floor int) string {
	b := w.Site.Floors[floor].BoundingBox()
	return fmt.Sprintf("Plan of %s, %s by %s metres.", floorName(&w.Site.Floors[floor]), say.Fixed(b.Max[0]-b.Min[0], 1), say.Fixed(b.Max[1]-b.Min[1], 1))
}

// plans shows where access points hang and where somebody stood.
func (w *writer) plans() {
	w.section("Plans")
	for _, k := range w.Input.Floors {
		f := &w.Site.Floors[k]
		p := w.plan(k)
		stood, notYet := w.points(k)
		marks := p.Marks
		p.Marks = append(append(append([]figure.Mark{}, stood...), notYet...), marks...)
		p.Title = floorName(f) + ": access points and points, metres"
		if len(stood)+len(notYet) == 0 {
			p.Title = floorName(f) + ": access points, metres"
		}
		p.Legend = figure.Legend{Entries: []figure.Entry{{Step: figure.OfMark(figure.AccessPoint), Text: "access point"}}}
		if len(stood) > 0 {
			p.Legend.Entries = append(p.Legend.Entries, figure.Entry{Step: figure.OfMark(figure.Stood), Text: "a visit that counts"})
		}
		if len(notYet) > 0 {
			p.Legend.Entries = append(p.Legend.Entries, figure.Entry{Step: figure.OfMark(figure.NotYet), Text: "point without one"})
		}
		p.Desc = fmt.Sprintf("%s %s; nobody has walked there yet.", w.size(k), say.Count(len(marks), "access point"))
		if len(stood) > 0 {
			p.Desc = fmt.Sprintf("%s %s and %s that were visited, %s without a visit that counts.", w.size(k), say.Count(len(marks), "access point"), say.Count(len(stood), "place"), say.Count(len(notYet), "point"))
		}
		pic, more := p.Figure(), walls(f)
		if p.Unnamed > 0 {
			more += ". " + unnamed
		}
		w.picture(pic, more)
	}
}

const unnamed = "Names that would lie over others are left out"

// points are the places of a floor with a visit that counts, and the points without.
func (w *writer) points(floor int) (stood, notYet []figure.Mark) {
	f := &w.Site.Floors[floor]
	seen := map[walk.Place]bool{}
	for i := range w.Walks {
		for _, v := range w.Walks[i].Standing() {
			if v.Floor != f.ID {
				continue
			}
			p := walk.Place{Floor: floor, Point: v.Point}
			if v.Point == "" {
				p.At = v.At
			}
			if !seen[p] {
				seen[p] = true
				stood = append(stood, figure.Mark{Kind: figure.Stood, At: v.At, Text: v.Point})
			}
		}
	}
	for _, q := range f.Points {
		if !seen[walk.Place{Floor: floor, Point: q.ID}] {
			notYet = append(notYet, figure.Mark{Kind: figure.NotYet, At: q.At, Text: q.ID})
		}
	}
	return stood, notYet
}

// walls names the materials of a floor's walls with their lengths.
func walls(f *site.Floor) string {
	var order []string
	length := map[string]float64{}
	for _, w := range f.Walls {
		if length[w.Material] == 0 {
			order = append(order, w.Material)
		}
		for i := 1; i < len(w.Line); i++ {
			length[w.Material] += distance(w.Line[i-1], w.Line[i])
		}
	}
	text := "Walls: none on the plan"
	for i, m := range order {
		sep := ", "
		if i == 0 {
			text, sep = "Walls: ", ""
		}
		text += fmt.Sprintf("%s%s %s m", sep, m, say.Fixed(length[m], 0))
	}
	if slices.ContainsFunc(f.Areas, func(a site.Area) bool { return a.Kind == site.Void }) {
		text += ". Nobody can stand in the grey parts"
	}
	return text
}

func distance(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }
