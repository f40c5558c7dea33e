package position

// errors turns what was judged into figures.
func (j *judge) errors() (*Errors, error) {
	e := &Errors{
		Method: j.o.Method, Protocol: j.o.Protocol, Fix: j.o.Fix, Quantiles: QuantileRule,
		Summary: summarise(j.judged, j.o.Resamples, j.o.Seed), Areas: j.areas(), Widening: j.widening,
		Judged: j.judged, Fit: j.fit, Refits: j.refits,
	}
	for _, t := range j.o.Targets {
		o, err := t.Check(j.within(t.WithinM), j.places)
		if err != nil {
			return nil, err
		}
		e.Targets = append(e.Targets, o)
	}
	return e, nil
}

// within counts the places within a distance by the share of their fixes that
// are, rounded down.
func (j *judge) within(d float64) int {
	sum := 0.0
	for i := 0; i < len(j.judged); {
		n, hits := 0, 0
		for k := i; k < len(j.judged) && j.judged[k].Place == j.judged[i].Place; k++ {
			n++
			if j.judged[k].ErrorM <= d {
				hits++
			}
		}
		sum += float64(hits) / float64(n)
		i += n
	}
	return int(sum + 1e-9)
}
