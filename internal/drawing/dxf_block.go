package drawing

import (
	"fmt"
	"strings"

	"footrule/internal/input"

	"github.com/paulmach/orb"
)

// block is a named group of parts that INSERT puts in place.
type block struct {
	base  orb.Point
	parts []*part
}

// insert is what an INSERT says of its block.
type insert struct {
	block      string
	sx, sy     float64
	turn       float64 // radians, counterclockwise
	cols, rows int
	dx, dy     float64
}

// readBlocks reads the BLOCKS section.
func (x *dxf) readBlocks() error {
	for {
		if err := x.next(); err != nil {
			return err
		}
		switch {
		case x.is(0, "ENDSEC"):
			return nil
		case x.is(0, "BLOCK"):
			b, name := &block{}, ""
		head:
			for {
				if err := x.next(); err != nil {
					return err
				}
				switch x.code {
				case 0:
					x.again = true
					break head
				case 2:
					name = x.word()
				case 10, 20:
					v, err := x.number()
					if err != nil {
						return err
					}
					b.base[x.code/10-1] = v
				}
			}
			if err := x.entities(b, "ENDBLK"); err != nil {
				return err
			}
			if len(x.blocks) == MaxLayers {
				return x.fail(fmt.Sprintf("the drawing has more than %d blocks", MaxLayers), "save only the plan")
			}
			x.blocks[strings.ToLower(name)] = b
		}
	}
}

// entities reads entities up to the word that ends them: into a block, or
// straight into the drawing.
func (x *dxf) entities(b *block, end string) error {
	var e entity
	var poly, ins *part // what VERTEX and ATTRIB belong to
	skip := false       // a POLYLINE that is left out, with its vertices
	flush := func() error {
		for _, p := range []*part{poly, ins} {
			if p != nil {
				if err := x.put(b, p); err != nil {
					return err
				}
			}
		}
		poly, ins, skip = nil, nil, false
		return nil
	}
	for {
		if err := x.next(); err != nil {
			return err
		}
		if x.code != 0 {
			continue
		}
		if x.is(0, end) {
			return flush()
		}
		if x.is(0, "ENDSEC") || x.is(0, "SECTION") || x.is(0, "EOF") {
			return x.fail(fmt.Sprintf("%s comes before %s", x.value, end), "the file is damaged; save it again")
		}
		if err := x.take(&e); err != nil {
			return err
		}
		switch e.kind {
		case "ATTDEF": // says how an attribute looks, and is not drawn
			continue
		case "VERTEX":
			if poly != nil && !e.flag(70, 16) { // not the frame of a fitted curve
				if len(poly.at) > MaxCorners {
					return x.fail(fmt.Sprintf("a POLYLINE has more than %d corners", MaxCorners), "this is no plan of a building")
				}
				poly.at = append(poly.at, orb.Point{e.num[10], e.num[20]})
				poly.bulges = append(poly.bulges, e.num[42])
			} else if poly == nil && !skip {
				x.d.Left["VERTEX without its POLYLINE"]++
			}
			continue
		case "ATTRIB":
			if ins != nil && e.text.Len() > 0 && (ins.name == "" || naming[strings.ToUpper(e.block)]) {
				ins.name = plain(e.text.String())
			}
			continue
		case "SEQEND":
			if err := flush(); err != nil {
				return err
			}
			continue
		}
		if err := flush(); err != nil {
			return err
		}
		switch {
		case e.flag(67, 1):
			x.d.Left["on a sheet (paper space)"]++
			skip = e.kind == "POLYLINE"
			continue
		case e.flag(60, 1):
			x.d.Left["set invisible"]++
			skip = e.kind == "POLYLINE"
			continue
		case e.kind == "POLYLINE":
			if e.flag(70, 16) || e.flag(70, 64) {
				x.d.Left["POLYLINE that is a mesh"]++
				skip = true
				continue
			}
			poly = &part{kind: "LWPOLYLINE", called: "POLYLINE", layer: e.layer, line: e.line, own: identity, closed: e.flag(70, 1)}
			if !e.flag(70, 8) { // corners of a 3D polyline are in world coordinates
				poly.own = e.object()
			}
			continue
		}
		p, why := e.part()
		switch {
		case p == nil:
			x.d.Left[why]++
		case p.insert != nil:
			ins = p
		default:
			if err := x.put(b, p); err != nil {
				return err
			}
		}
	}
}

// naming are tags of attributes that name a thing.
var naming = map[string]bool{"ID": true, "NAME": true, "AP": true, "POINT": true, "NUMBER": true, "NO": true, "LABEL": true}

// put keeps a part in its block, or draws it.
func (x *dxf) put(b *block, p *part) error {
	if p.kind == "LWPOLYLINE" && len(p.at) < 2 {
		x.d.Left["POLYLINE of less than two corners"]++
		return nil
	}
	if b == nil {
		err := x.draw(p, identity, p.layer, -1, 0, nil)
		if e, ok := err.(*input.Error); ok && e.Line == 0 {
			e.Line = p.line
		}
		return err
	}
	// What no INSERT can bring to a layer that is kept takes no memory. Layer 0
	// takes the layer of the INSERT.
	if x.o.Keep != nil && p.insert == nil && !layerZero(p.layer) && !x.o.Keep(p.layer) {
		if _, err := x.d.layer(p.layer); err != nil {
			return err
		}
		return nil
	}
	x.kept++
	if err := x.d.spend(len(p.at)); err != nil || x.kept > MaxCopies {
		return x.fail(fmt.Sprintf("the blocks of the drawing hold more than %d corners or %d parts", MaxCorners, MaxCopies), "save only the plan")
	}
	b.parts = append(b.parts, p)
	return nil
}

func layerZero(name string) bool { return name == "0" || name == "" }

// draw adds a part to the drawing, an INSERT with all that its block holds.
// Layer is the one that layer 0 stands for.
func (x *dxf) draw(p *part, m affine, layer string, under, depth int, path []*block) error {
	if !layerZero(p.layer) {
		layer = p.layer
	}
	if layer == "" {
		layer = "0"
	}
	s := Shape{Layer: layer, Under: under, Source: p.line, Name: p.name}
	if p.insert != nil {
		return x.drawInsert(p, m, s, depth, path)
	}
	var closed bool
	s.At, closed = p.points(m, x.tol)
	what := p.kind
	if p.called != "" {
		what = p.called
	}
	switch {
	case p.kind == "POINT":
		s.Kind = Mark
	case p.kind == "TEXT" || p.kind == "MTEXT":
		s.Kind = Text
	case closed:
		s.Kind = Ring
		if p.kind == "CIRCLE" {
			s.Round = true
			s.At = append([]orb.Point{m.after(p.own).at(p.at[0])}, s.At...)
		}
	}
	_, err := x.d.add(s, what, x.o.Keep)
	return err
}

func (x *dxf) drawInsert(p *part, m affine, s Shape, depth int, path []*block) error {
	in := p.insert
	name := strings.ToLower(in.block)
	b := x.blocks[name]
	if depth >= MaxDepth {
		return &input.Error{Line: p.line, What: fmt.Sprintf("block %q stands more than %d blocks deep", clip(in.block), MaxDepth), Want: "save the plan with its blocks dissolved"}
	}
	for _, q := range path {
		if q == b && b != nil {
			return &input.Error{Line: p.line, What: fmt.Sprintf("block %q contains itself", clip(in.block)), Want: "correct the drawing"}
		}
	}
	if b == nil {
		x.d.Left["INSERT of a block that is not in the file"]++
	}
	if in.cols > MaxCopies || in.rows > MaxCopies {
		in.cols, in.rows = min(in.cols, MaxCopies+1), min(in.rows, MaxCopies+1)
	}
	for row := range in.rows {
		for col := range in.cols {
			if err := x.d.copied(); err != nil {
				return err
			}
			to := m.after(p.own).after(translate(p.at[0][0], p.at[0][1])).after(turn(in.turn)).
				after(translate(float64(col)*in.dx, float64(row)*in.dy)).after(scale(in.sx, in.sy))
			one := s
			one.Kind, one.At = Mark, []orb.Point{to.at(orb.Point{})}
			k, err := x.d.add(one, "INSERT", x.o.Keep)
			if err != nil {
				return err
			}
			if k < 0 {
				k = s.Under
			}
			if b == nil {
				continue
			}
			to = to.after(translate(-b.base[0], -b.base[1]))
			for _, q := range b.parts {
				if err := x.d.copied(); err != nil {
					return err
				}
				if err := x.draw(q, to, s.Layer, k, depth+1, append(path[:len(path):len(path)], b)); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
