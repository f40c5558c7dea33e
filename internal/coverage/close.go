package coverage

import (
	"context"

	"footrule/internal/parallel"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// Added is one access point that a hole is to be closed with.
type Added struct {
	Mount
	HeightM  float64
	ClosesM2 float64 // area of the hole that then hears what is needed
	HelpsM2  float64 // area of the hole that then hears one more
}

// Close finds, for each of the given holes, the one added access point on its
// floor that closes most of it; of equal ones that which is heard in most of it, and then
// the nearest to its centre.
// spacingM parts the places that are tried; where they would be too many it is
// widened.
func (m *Map) Close(ctx context.Context, holes []Hole, source Source, box Box, spacingM float64) error {
	for i := range holes {
		h := &holes[i]
		fm := m.floor(h.Floor)
		mounts, err := mountsUpTo(m.Site, h.Floor, spacingM, 400)
		if err != nil {
			return err
		}
		if len(mounts) == 0 {
			continue
		}
		plan := with(m.Site, box, mounts, "+")
		fit, _, err := source(plan)
		if err != nil {
			return err
		}
		part, at := fm.around(h.Cells)
		first := len(m.Site.Radios())
		gains := make([]Added, len(mounts))
		bands := len(box.Bands)
		err = parallel.Until(ctx, len(mounts), func(c int) {
			levels := make([]float64, part.Len())
			hears := make([]bool, len(h.Cells))
			for b := range bands {
				k := first + c*bands + b
				if fit.Group(k) == nil {
					continue
				}
				sigma, _ := fit.Spread(k)
				bar := m.Options.bar(sigma)
				fit.LevelMap(k, h.Floor, part, levels)
				for j, n := range at {
					hears[j] = hears[j] || levels[n] >= bar
				}
			}
			g := Added{Mount: mounts[c], HeightM: box.HeightM}
			for j, cell := range h.Cells {
				if hears[j] {
					g.HelpsM2 += fm.AreaM2[cell]
					if fm.Heard[cell]+1 >= m.Options.Need {
						g.ClosesM2 += fm.AreaM2[cell]
					}
				}
			}
			gains[c] = g
		})
		if err != nil {
			return err
		}
		best := gains[0]
		for _, g := range gains[1:] {
			if better(&g, &best, h.Centre) {
				best = g
			}
		}
		if best.HelpsM2 > 0 {
			h.Added = &best
		}
	}
	return nil
}

func better(a, b *Added, centre orb.Point) bool {
	const same = 1e-9 // m²
	switch {
	case a.ClosesM2 > b.ClosesM2+same:
		return true
	case a.ClosesM2 < b.ClosesM2-same:
		return false
	case a.HelpsM2 > b.HelpsM2+same:
		return true
	case a.HelpsM2 < b.HelpsM2-same:
		return false
	}
	return planar.Distance(a.At, centre) < planar.Distance(b.At, centre)-same
}

// mountsUpTo widens the spacing until there are no more than most.
func mountsUpTo(s *site.Site, floor int, spacingM float64, most int) ([]Mount, error) {
	for {
		mounts, err := Mounts(s, floor, spacingM)
		if err == nil && len(mounts) <= most {
			return mounts, nil
		}
		if err != nil && !(spacingM > 0) {
			return nil, err
		}
		spacingM *= 1.25
	}
}

func (m *Map) floor(floor int) *FloorMap {
	for i := range m.Floors {
		if m.Floors[i].Floor == floor {
			return &m.Floors[i]
		}
	}
	return nil
}

// around gives the part of the lattice around some cells, and where in it they are.
func (c *Cells) around(cells []int) (site.Lattice, []int) {
	x0, y0, x1, y1 := c.Lattice.NX, c.Lattice.NY, -1, -1
	for _, i := range cells {
		x, y := c.Index[i]%c.Lattice.NX, c.Index[i]/c.Lattice.NX
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	part := c.Lattice
	part.Origin = orb.Point{c.Lattice.Origin[0] + float64(x0)*part.DX, c.Lattice.Origin[1] + float64(y0)*part.DY}
	part.NX, part.NY = x1-x0+1, y1-y0+1
	at := make([]int, len(cells))
	for j, i := range cells {
		at[j] = (c.Index[i]/c.Lattice.NX-y0)*part.NX + c.Index[i]%c.Lattice.NX - x0
	}
	return part, at
}
