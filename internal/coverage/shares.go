package coverage

import "math"

// Shares is how much of an area hears how many.
type Shares struct {
	AreaM2  float64
	Heard   [Reported]float64 // share of the area that hears at least 1, 2, 3, 4
	AtLeast [Reported]float64 // mean over the area of the probability of that; NaN where measured
	Need    float64           // share of the area that hears what is needed
}

// Shares of the whole map.
func (m *Map) Shares() Shares {
	var parts []Shares
	for i := range m.Floors {
		parts = append(parts, m.Floors[i].Shares(m.Options.Need))
	}
	return joined(parts)
}

// Shares of one floor.
func (fm *FloorMap) Shares(need int) Shares {
	var s Shares
	for i, a := range fm.AreaM2 {
		s.AreaM2 += a
		for k := range Reported {
			if fm.Heard[i] > k {
				s.Heard[k] += a
			}
			s.AtLeast[k] += a * fm.AtLeast[k][i]
		}
		if fm.Heard[i] >= need {
			s.Need += a
		}
	}
	return s.over(s.AreaM2)
}

func (s Shares) over(area float64) Shares {
	for k := range Reported {
		s.Heard[k] /= area
		s.AtLeast[k] /= area
	}
	s.Need /= area
	return s
}

func joined(parts []Shares) Shares {
	var s Shares
	for _, p := range parts {
		if p.AreaM2 == 0 {
			continue
		}
		s.AreaM2 += p.AreaM2
		s.Need += p.Need * p.AreaM2
		for k := range Reported {
			s.Heard[k] += p.Heard[k] * p.AreaM2
			s.AtLeast[k] += p.AtLeast[k] * p.AreaM2
		}
	}
	if s.AreaM2 == 0 {
		return Shares{Need: math.NaN()}
	}
	return s.over(s.AreaM2)
}
