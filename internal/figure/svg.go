package figure

import (
	"bytes"
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"

	"footrule/internal/canvas"

	"github.com/paulmach/orb"
)

// fonts that are near to the one that room is measured in.
const svgFonts = "Go,DejaVu Sans,Verdana,Helvetica,Arial,sans-serif"

// SVG gives the picture as an SVG document.
func (f *Figure) SVG() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%s" height="%s" viewBox="0 0 %[1]s %[2]s" font-family="%s" role="img">`+"\n", num(f.W), num(f.H), svgFonts)
	if f.Title != "" {
		fmt.Fprintf(&b, "<title>%s</title>\n", html.EscapeString(canvas.Clean(f.Title)))
	}
	if f.Desc != "" {
		fmt.Fprintf(&b, "<desc>%s</desc>\n", html.EscapeString(canvas.Clean(f.Desc)))
	}
	fmt.Fprintf(&b, `<rect width="100%%" height="100%%" fill="%s"/>`+"\n", hex(f.Paper))
	crisp := false
	for i := range f.shapes {
		s := &f.shapes[i]
		if s.style.Crisp != crisp {
			if crisp = s.style.Crisp; crisp {
				b.WriteString(`<g shape-rendering="crispEdges">` + "\n")
			} else {
				b.WriteString("</g>\n")
			}
		}
		s.svg(&b)
	}
	if crisp {
		b.WriteString("</g>\n")
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

func (s *shape) svg(b *bytes.Buffer) {
	switch {
	case s.text != "":
		attr := ""
		if s.set.Bold {
			attr += ` font-weight="bold"`
		}
		attr += []string{"", ` text-anchor="middle"`, ` text-anchor="end"`}[s.set.Anchor]
		if !s.set.Halo.IsDefault() {
			attr += fmt.Sprintf(` stroke="%s" stroke-width="%s" stroke-linejoin="round" paint-order="stroke"`, hex(s.set.Halo), num(s.set.Size*haloWidth))
		}
		fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s" fill="%s"%s>%s</text>`+"\n", num(s.at[0]), num(s.at[1]), num(s.set.Size), hex(s.set.Color), attr, html.EscapeString(s.text))
	case s.rect != nil:
		fmt.Fprintf(b, `<rect x="%s" y="%s" width="%s" height="%s"%s/>`+"\n", num(s.rect.Min[0]), num(s.rect.Min[1]), num(s.rect.Max[0]-s.rect.Min[0]), num(s.rect.Max[1]-s.rect.Min[1]), s.paint())
	case s.rings != nil:
		var d strings.Builder
		for _, r := range s.rings {
			d.WriteString(pathOf(r) + "z")
		}
		fmt.Fprintf(b, `<path fill-rule="evenodd" d="%s"%s/>`+"\n", d.String(), s.paint())
	case s.line != nil:
		fmt.Fprintf(b, `<path d="%s"%s stroke-linecap="round" stroke-linejoin="round"/>`+"\n", pathOf(s.line), s.paint())
	default:
		fmt.Fprintf(b, `<circle cx="%s" cy="%s" r="%s"%s/>`+"\n", num(s.at[0]), num(s.at[1]), num(s.r), s.paint())
	}
}

func (s *shape) paint() string {
	out := ` fill="none"`
	if !s.style.Fill.IsDefault() {
		out = ` fill="` + hex(s.style.Fill) + `"`
	}
	if !s.style.Stroke.IsDefault() {
		out += ` stroke="` + hex(s.style.Stroke) + `" stroke-width="` + num(s.style.Width) + `"`
	}
	return out
}

func pathOf(pts []orb.Point) string {
	var d strings.Builder
	for i, p := range pts {
		if i == 0 {
			d.WriteByte('M')
		} else {
			d.WriteByte('L')
		}
		d.WriteString(num(p[0]) + " " + num(p[1]))
	}
	return d.String()
}

// num is a number to a hundredth.
func num(v float64) string { return strconv.FormatFloat(math.Round(100*v)/100+0, 'f', -1, 64) }

func hex(c canvas.Color) string {
	r, g, b := c.RGB()
	return fmt.Sprintf("#%02x%02x%02x", r, g, b)
}
