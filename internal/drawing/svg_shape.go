package drawing

import (
	"math"

	"github.com/paulmach/orb"
)

// shape adds what an element draws by itself.
func (x *svg) shape(e *element, s state) error {
	if err := x.copied(e); err != nil {
		return err
	}
	tol := x.tol
	if k := s.m.stretch(); k > 0 {
		tol /= k
	}
	sh := Shape{Layer: x.layer(e, s), Name: e.title(), Under: s.under, Source: e.line}
	put := func(kind Kind, at []orb.Point) error {
		one := sh
		one.Kind, one.At = kind, make([]orb.Point, len(at))
		for i, p := range at {
			one.At[i] = s.m.at(p)
		}
		_, err := x.d.add(one, e.name, x.o.Keep)
		return err
	}
	none := func() error { x.d.Left[e.name+" of no size"]++; return nil }
	switch e.name {
	case "path":
		subs, err := parsePath(e.attr["d"], tol, MaxCorners)
		if err != nil {
			return x.fail(e, "its data, "+err.Error())
		}
		for _, sub := range subs {
			kind := Line
			if n := len(sub.at); n > 3 && sub.at[0] == sub.at[n-1] {
				sub.at, sub.closed = sub.at[:n-1], true
			}
			if sub.closed && len(sub.at) > 2 {
				kind = Ring
			}
			if err := put(kind, sub.at); err != nil {
				return err
			}
		}
		if len(subs) == 0 {
			return none()
		}
	case "line":
		v, err := x.lengths(e, "x1", "y1", "x2", "y2")
		if err != nil {
			return err
		}
		return put(Line, []orb.Point{{v[0], v[1]}, {v[2], v[3]}})
	case "polyline", "polygon":
		v, err := numbers(e.attr["points"])
		if err != nil {
			return x.fail(e, "its points, "+err.Error())
		}
		if len(v)%2 != 0 {
			return x.fail(e, "its points have an odd number of numbers")
		}
		var at []orb.Point
		for i := 0; i < len(v); i += 2 {
			at = append(at, orb.Point{v[i], v[i+1]})
		}
		switch {
		case len(at) < 2:
			return none()
		case e.name == "polygon" && len(at) > 2:
			return put(Ring, at)
		}
		return put(Line, at)
	case "rect":
		return x.rect(e, tol, put, none)
	case "circle", "ellipse":
		v, err := x.lengths(e, "cx", "cy", "r", "r")
		if e.name == "ellipse" && err == nil {
			v, err = x.lengths(e, "cx", "cy", "rx", "ry")
		}
		if err != nil {
			return err
		}
		if !(v[2] > 0 && v[3] > 0) {
			return none()
		}
		at := arc(orb.Point{v[0], v[1]}, orb.Point{v[2], 0}, orb.Point{0, v[3]}, 0, 2*math.Pi, tol)
		sh.Round = true
		return put(Ring, append([]orb.Point{{v[0], v[1]}}, at[:len(at)-1]...))
	case "text":
		v, err := numbers(firstOf(e, "x"))
		w, err2 := numbers(firstOf(e, "y"))
		if err != nil || err2 != nil || len(v) == 0 || len(w) == 0 {
			v, w = []float64{0}, []float64{0} // placed by its transform
		}
		sh.Name = e.words(1000)
		return put(Text, []orb.Point{{v[0], w[0]}})
	default:
		x.d.Left[clip(e.name)]++
	}
	return nil
}

// firstOf is an attribute of a text, or of the first piece in it that has it.
func firstOf(e *element, name string) string {
	if v := e.attr[name]; v != "" || len(e.children) == 0 {
		return v
	}
	return firstOf(e.children[0], name)
}

func (x *svg) rect(e *element, tol float64, put func(Kind, []orb.Point) error, none func() error) error {
	v, err := x.lengths(e, "x", "y", "width", "height")
	if err != nil {
		return err
	}
	r, err := x.lengths(e, "rx", "ry")
	if err != nil {
		return err
	}
	w, h := v[2], v[3]
	if !(w > 0 && h > 0) {
		return none()
	}
	rx, ry := r[0], r[1]
	if e.attr["rx"] == "" {
		rx = ry
	}
	if e.attr["ry"] == "" {
		ry = rx
	}
	rx, ry = min(max(rx, 0), w/2), min(max(ry, 0), h/2)
	l, t := v[0], v[1]
	if rx == 0 || ry == 0 {
		return put(Ring, []orb.Point{{l, t}, {l + w, t}, {l + w, t + h}, {l, t + h}})
	}
	var at []orb.Point
	for i, c := range []orb.Point{{l + w - rx, t + ry}, {l + w - rx, t + h - ry}, {l + rx, t + h - ry}, {l + rx, t + ry}} {
		at = append(at, arc(c, orb.Point{rx, 0}, orb.Point{0, ry}, float64(i-1)*math.Pi/2, math.Pi/2, tol)...)
	}
	return put(Ring, at)
}
