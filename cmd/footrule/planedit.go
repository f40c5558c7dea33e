package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"math"

	"footrule/internal/boot"
	"footrule/internal/drawing"
	"footrule/internal/site"
	"footrule/store"
	"footrule/tui"

	"github.com/paulmach/orb"
)

// editPlan draws and edits the plan of a site file on the screen.
func editPlan(ctx context.Context, sh *shell, path string, look *screenFlags) error {
	if err := look.check(); err != nil {
		return err
	}
	if !sh.onTerminal() {
		return refused(errors.New("--edit needs a terminal at both ends"))
	}
	st, err := open(path, false)
	if err != nil {
		return err
	}
	defer st.Close()
	plan, rev, err := st.Plan()
	if err != nil {
		return err
	}
	boot.Restore()
	bye, err := tui.RunEdit(ctx, tui.EditConfig{
		Plan: plan, Rev: rev, Put: st.PutPlan, Dark: underlays(st, plan),
		Profile: profile(sh), ASCII: look.ascii, Feet: look.feet, Theme: look.themeOf(), Mouse: look.mouse,
	}, sh.in, sh.out)
	fmt.Fprintln(sh.out, bye)
	if plan, now, err := st.Plan(); err == nil && now != rev {
		next := lacking(plan, path)
		if next == "" {
			next = "next: footrule walk " + path
		}
		fmt.Fprintln(sh.out, next)
	}
	if err != nil {
		return refused(fmt.Errorf("the screen failed: %w", err))
	}
	return nil
}

// shades is the brightness of a picture, summed up so that the mean over any
// rectangle takes four look-ups.
type shades struct {
	w, h int
	sum  []float64 // (w+1)×(h+1)
	mid  float64   // what is darker than this is dark
	to   func(orb.Point) orb.Point
}

// underlays shows where the pictures of a plan are dark; nil where it has none.
// A picture that is missing or can't be read is left out: the plan is there
// without it.
func underlays(st *store.Store, plan *site.Site) func(floor string, at orb.Point, sideM float64) bool {
	of := map[string]*shades{}
	for i := range plan.Floors {
		f := &plan.Floors[i]
		if f.Drawing == nil || f.Drawing.Picture == "" {
			continue
		}
		b, err := st.Picture(f.Drawing.Picture)
		if err != nil {
			continue
		}
		img, _, err := image.Decode(bytes.NewReader(b))
		if err != nil {
			continue
		}
		of[f.ID] = shadesOf(img, drawing.FromPlan(f.Drawing))
	}
	if len(of) == 0 {
		return nil
	}
	return func(floor string, at orb.Point, sideM float64) bool {
		s := of[floor]
		return s != nil && s.dark(at, sideM)
	}
}

func shadesOf(img image.Image, to func(orb.Point) orb.Point) *shades {
	b := img.Bounds()
	s := &shades{w: b.Dx(), h: b.Dy(), to: to}
	s.sum = make([]float64, (s.w+1)*(s.h+1))
	for y := range s.h {
		row := 0.0
		for x := range s.w {
			r, g, bl, a := img.At(b.Min.X+x, b.Min.Y+y).RGBA()
			// Rec. ITU-R BT.601 luma over white paper.
			luma := (0.299*float64(r)+0.587*float64(g)+0.114*float64(bl))/0xffff + 1 - float64(a)/0xffff
			row += luma
			s.sum[(y+1)*(s.w+1)+x+1] = s.sum[y*(s.w+1)+x+1] + row
		}
	}
	mean := s.sum[len(s.sum)-1] / float64(max(1, s.w*s.h))
	s.mid = mean - 0.15 // lines on paper are a little darker than all of it
	return s
}

// dark reports whether the square about a place is darker than the paper.
func (s *shades) dark(at orb.Point, sideM float64) bool {
	a := s.to(orb.Point{at[0] - sideM/2, at[1] - sideM/2})
	b := s.to(orb.Point{at[0] + sideM/2, at[1] + sideM/2})
	x0, x1 := int(math.Floor(min(a[0], b[0]))), int(math.Ceil(max(a[0], b[0])))
	y0, y1 := int(math.Floor(min(a[1], b[1]))), int(math.Ceil(max(a[1], b[1])))
	x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, s.w), min(y1, s.h)
	if x0 >= x1 || y0 >= y1 {
		return false
	}
	at2 := func(x, y int) float64 { return s.sum[y*(s.w+1)+x] }
	mean := (at2(x1, y1) - at2(x0, y1) - at2(x1, y0) + at2(x0, y0)) / float64((x1-x0)*(y1-y0))
	return mean < s.mid
}
