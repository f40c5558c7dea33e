package coverage

import (
	"context"
	"slices"

	"footrule/internal/parallel"
	"footrule/internal/propagation"
	"footrule/internal/site"
)

// placing is the work of [Place]. A column is a place for an access point: first
// the access points there are (with Move), then the mounts.
type placing struct {
	site    *site.Site
	options Options
	place   PlaceOptions
	mounts  []Mount
	plan    *site.Site // with a box at every mount
	fit     *propagation.Fit
	first   int   // index in plan of the box at the first mount
	kept    []int // with Move, access points that are columns

	cells   []cellRef
	have    []int   // per cell, access points heard that are not columns
	reached [][]int // per column, the cells that hear it
	info    [][3][]float32
	base    [3][]float64 // per cell, the information of what is no column, with the prior
	sample  []int        // cells that the error is taken over
	chosen  []int
	extra   int
}

// cellRef is a cell of a floor of the map.
type cellRef struct {
	floor, cell int // index into Map.Floors, and into its cells
	area        float64
}

// mostSampled is over how many cells the error is taken: more tell no better
// which place is good.
const mostSampled = 1500

// look measures what every column does to every cell.
func (d *placing) look(ctx context.Context, before *Map) error {
	for f := range before.Floors {
		for i, a := range before.Floors[f].AreaM2 {
			d.cells = append(d.cells, cellRef{f, i, a})
			d.have = append(d.have, before.Floors[f].Heard[i])
		}
	}
	stride := max(1, (len(d.cells)+mostSampled-1)/mostSampled)
	for i := stride / 2; i < len(d.cells); i += stride {
		d.sample = append(d.sample, i)
	}
	var columns []int // access points of the plan with all mounts
	aps := radiosByAP(d.plan)
	if d.place.Move {
		for ap := range d.first {
			if slices.ContainsFunc(aps[ap], func(k int) bool { return d.fit.Group(k) != nil }) {
				d.kept = append(d.kept, ap)
			}
		}
		columns = append(columns, d.kept...)
	}
	for i := range d.mounts {
		columns = append(columns, d.first+i)
	}
	n := len(d.sample)
	for i := range d.base {
		d.base[i] = make([]float64, n)
	}
	priors := make([][3]float64, len(before.Floors))
	for f := range before.Floors {
		p := before.Floors[f].prior()
		det := p.XX*p.YY - p.XY*p.XY
		priors[f] = [3]float64{p.YY / det, -p.XY / det, p.XX / det}
	}
	for j, c := range d.sample {
		for i, v := range priors[d.cells[c].floor] {
			d.base[i][j] = v
		}
	}
	for ap := range d.first {
		if slices.Contains(d.kept, ap) {
			continue
		}
		_, info := d.measure(before, ap, aps[ap])
		for i := range info {
			for j, v := range info[i] {
				d.base[i][j] += float64(v)
			}
		}
	}
	d.reached, d.info = make([][]int, len(columns)), make([][3][]float32, len(columns))
	err := parallel.Until(ctx, len(columns), func(c int) {
		d.reached[c], d.info[c] = d.measure(before, columns[c], aps[columns[c]])
	})
	for c := range d.kept {
		for _, cell := range d.reached[c] {
			d.have[cell]--
		}
	}
	return err
}

// measure gives the cells that hear an access point of the plan with all mounts,
// and its information on the place in the sampled ones.
func (d *placing) measure(m *Map, ap int, radios []int) (reached []int, info [3][]float32) {
	for i := range info {
		info[i] = make([]float32, len(d.sample))
	}
	trial := &Map{Site: d.plan, Fit: d.fit, Options: d.options}
	hears := make([]bool, len(d.cells))
	radios = slices.DeleteFunc(slices.Clone(radios), func(k int) bool { return d.fit.Group(k) == nil })
	at := 0
	for f := range m.Floors {
		cells := m.Floors[f].Cells
		fm := FloorMap{Cells: cells, levels: make([][]float32, len(d.fit.Radios))}
		for _, k := range radios {
			sigma, _ := d.fit.Spread(k)
			bar := float32(d.options.bar(sigma))
			fm.levels[k] = cells.levels(d.fit, k)
			for i, l := range fm.levels[k] {
				hears[at+i] = hears[at+i] || l >= bar
			}
		}
		terms := trial.radioTerms(cells.Floor, radios)
		lo, _ := slices.BinarySearch(d.sample, at)
		for j := lo; j < len(d.sample) && d.sample[j] < at+cells.Len(); j++ {
			var known [1]information
			i := d.sample[j] - at
			for n, k := range radios {
				terms[n].tell(fm.levels[k][i:i+1], cells.At[i:i+1], known[:])
			}
			f := &known[0]
			info[0][j], info[1][j], info[2][j] = float32(f.xx), float32(f.xy), float32(f.yy)
		}
		at += cells.Len()
	}
	for i, h := range hears {
		if h {
			reached = append(reached, i)
		}
	}
	return reached, info
}

// solve chooses the fewest columns.
func (d *placing) solve(ctx context.Context, out *Placement) {
	p := &Multicover{Rows: len(d.cells), Columns: d.reached, Demand: make([]int, len(d.cells))}
	for i := range d.cells {
		p.Demand[i] = d.options.Need - d.have[i]
	}
	choice := p.Solve(ctx)
	for _, i := range choice.Short {
		out.ShortM2 += d.cells[i].area
	}
	d.chosen = choice.Columns
	// With Move the whole of what there is counts, so that fewer may be enough.
	out.Fewest = max(0, choice.LowerBound-len(d.kept))
	if len(d.kept) > 0 {
		d.stay(p)
	}
}

// counts says how often every cell is covered by the chosen columns.
func (d *placing) counts() []int {
	have := make([]int, len(d.cells))
	for _, c := range d.chosen {
		for _, r := range d.reached[c] {
			have[r]++
		}
	}
	return have
}

// stay puts access points that hang there in the place of new ones where they do
// as well, keeps those that are spare, and drops new ones that are then not needed.
func (d *placing) stay(p *Multicover) {
	for swapped := true; swapped; {
		swapped = false
		have := d.counts()
		for i, c := range d.chosen {
			if c < len(d.kept) {
				continue
			}
			for k := range d.kept {
				if !slices.Contains(d.chosen, k) && d.canSwap(have, c, k) {
					d.chosen[i], swapped = k, true
					break
				}
			}
			if swapped {
				break
			}
		}
	}
	// Boxes that are not needed elsewhere stay.
	fresh := 0
	for _, c := range d.chosen {
		if c >= len(d.kept) {
			fresh++
		}
	}
	for k := range d.kept {
		if spare := len(d.kept) - (len(d.chosen) - fresh); spare > fresh && !slices.Contains(d.chosen, k) {
			d.chosen = append(d.chosen, k)
		}
	}
	have := d.counts()
	d.chosen = slices.DeleteFunc(d.chosen, func(c int) bool {
		if c < len(d.kept) {
			return false
		}
		for _, r := range d.reached[c] {
			if have[r] <= d.options.Need-d.have[r] {
				return false
			}
		}
		for _, r := range d.reached[c] {
			have[r]--
		}
		return true
	})
}

// canSwap reports whether column b in the place of a leaves every cell as well
// served as it must be, or as it is.
func (d *placing) canSwap(have []int, a, b int) bool {
	j := 0
	for _, r := range d.reached[a] {
		if have[r] > d.options.Need-d.have[r] {
			continue
		}
		for j < len(d.reached[b]) && d.reached[b][j] < r {
			j++
		}
		if j == len(d.reached[b]) || d.reached[b][j] != r {
			return false
		}
	}
	return true
}
