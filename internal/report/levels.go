package report

import (
	"fmt"

	"footrule/internal/propagation"
	"footrule/internal/say"
)

// levels says how levels fall off: the tables of the fit.
func (w *writer) levels() {
	w.section("How levels fall off")
	f := w.Fit
	if f == nil {
		why := "No walk yet, so that nothing was fitted."
		switch {
		case w.NotFitted != "":
			why = "The walks could not be fitted: " + sentence(w.NotFitted)
		case len(w.Walks) > 0:
			why = "What the walks would fit was not asked for."
		}
		w.note(why + " Maps rest on " + w.Basis + ".")
		return
	}
	w.say(fmt.Sprintf("Model %s%s. The exponent says how fast levels fall with distance (2 in free space), the spread how far the level of a visit lies from the model.", f.Model, map[bool]string{true: ", with an exponent for each access point"}[f.PerAP || f.Model == propagation.Pooled]))
	w.bands(f)
	w.radios(f)
	if len(f.Walls) > 0 {
		var rows [][]string
		for _, l := range f.Walls {
			name := l.Material
			if name == propagation.Storey {
				name = "storey (" + name + ")"
			}
			rows = append(rows, []string{name, string(l.Band), say.Fixed(l.LossDB.Est, 1), span(l.LossDB.Lo, l.LossDB.Hi, 1), whole(l.Crossed)})
		}
		w.table("Loss of one crossing of a wall", rows, "wall", "band GHz", "loss dB#", "95 % interval#", "levels heard through it#")
	}
	w.say(fmt.Sprintf("With the place left out, levels are predicted to %s dB (root mean square). Log likelihood %s, AICc %s.", say.Fixed(f.LOORMSEDB, 1), say.Fixed(f.LogLikelihood, 1), say.Fixed(f.AICc, 1)))
	var doubts []string
	for _, x := range f.Warnings {
		text := x.Text
		if x.Radio != "" {
			text = x.Radio + ": " + text
		}
		doubts = append(doubts, text)
	}
	if len(doubts) > 0 {
		w.say("To doubt in this fit:")
		w.list(doubts)
	}
}

// Spreads sets the two parts of a band's spread that a model tells apart,
// shadowing and scatter in dB or, pooled, how exponents and levels at 1 m vary;
// dashes where it tells none.
func Spreads(m propagation.Model, g *propagation.Group) (first, second string) {
	switch m {
	case propagation.TwoLevel:
		return say.Fixed(g.ShadowingDB(), 1), say.Fixed(g.ScatterDB, 1)
	case propagation.Pooled:
		return say.Fixed(g.ExponentSD, 2), say.Fixed(g.Level1mSDDB, 1)
	}
	return "–", "–"
}

func (w *writer) bands(f *propagation.Fit) {
	heads := []string{"band GHz", "exponent#", "95 % interval#", "spread dB#", "95 % interval#", "shadowing dB#", "scatter dB#"}
	if f.Model == propagation.Pooled {
		heads[5], heads[6] = "exponents vary#", "at 1 m vary dB#"
	}
	var rows, on [][]string
	for _, g := range f.Groups {
		shadow, scatter := Spreads(f.Model, &g)
		missed := "–" // what the model doesn't tell
		if !f.Model.IgnoresSilence() {
			missed = percent(g.MissRate, 0)
		}
		rows = append(rows, []string{string(g.Band), say.Fixed(g.Exponent.Est, 2), span(g.Exponent.Lo, g.Exponent.Hi, 2), say.Fixed(g.SigmaDB.Est, 1), span(g.SigmaDB.Lo, g.SigmaDB.Hi, 1), shadow, scatter})
		on = append(on, []string{string(g.Band), whole(g.Readings), whole(g.Censored), say.Fixed(g.FloorDBm, 0), missed})
	}
	w.table("The fit, band by band", rows, heads...)
	w.table("What it rests on", on, "band GHz", "scans that heard a radio#", "scans that did not#", "floor of hearing dBm#", "scans that miss a strong radio %#")
}

func (w *writer) radios(f *propagation.Fit) {
	var rows [][]string
	for _, r := range f.Radios {
		if !r.InFit {
			rows = append(rows, []string{r.Name, "never heard", "–", "–", "0", whole(r.Silent), "0"})
			continue
		}
		rows = append(rows, []string{r.Name, say.Fixed(r.Level1m.Est, 1), span(r.Level1m.Lo, r.Level1m.Hi, 1), say.Fixed(r.Exponent.Est, 2), whole(r.Points), whole(r.Silent), whole(r.Readings)})
	}
	w.table("The fit, radio by radio", rows, "radio", "level at 1 m dBm#", "95 % interval#", "exponent#", "places that heard it#", "silent places#", "readings#")
}
