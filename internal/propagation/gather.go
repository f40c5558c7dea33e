package propagation

import (
	"math"

	"footrule/internal/parallel"
	"footrule/internal/radio"
)

// gatherStays is how many stays one unit of work of gather has: those of some
// tens of radios fit in the cache.
const gatherStays = 128

// gathered is what one unit of work counts.
type gathered struct {
	listened, heard, missed []int // per radio of the band: rows, those that heard, scans that did not
	readings                int
	floor                   float64
}

// gather collects the rows of a band; nil where no radio of it was heard.
// Stays without a scan on its channel say nothing of a radio and are left out. The
// rows lie in a room, nil for one of their own.
func gather(d *Data, bands []radio.Band, band radio.Band, floorDBm *float64, room *room) *rows {
	var radios []int
	for k := range d.Radios {
		if bands[k] == band {
			radios = append(radios, k)
		}
	}
	units := make([]gathered, (d.Stays()+gatherStays-1)/gatherStays)
	parallel.Do(len(units), func(u int) { units[u] = d.count(radios, u*gatherStays, min((u+1)*gatherStays, d.Stays())) })
	g := &rows{room: room, band: band, start: []int{0}, first: []int{0}, wall: make([][]float64, len(d.Materials)), floor: math.Inf(1)}
	// Of every unit and radio, where its rows go and where what it heard does; −1
	// for a radio that was never heard.
	at, heardAt := make([][]int, len(units)), make([][]int, len(units))
	for u := range units {
		at[u], heardAt[u] = make([]int, len(radios)), make([]int, len(radios))
		g.floor = min(g.floor, units[u].floor)
		g.counts.readings += units[u].readings
	}
	n, heard := 0, 0
	for a, k := range radios {
		rows, hits := n, heard
		for u := range units {
			at[u][a], heardAt[u][a] = rows, hits
			rows += units[u].listened[a]
			hits += units[u].heard[a]
		}
		if hits == heard {
			for u := range units {
				at[u][a] = -1
			}
			continue
		}
		for u := range units {
			g.counts.missed += units[u].missed[a]
		}
		n, heard = rows, hits
		g.radios, g.start, g.first = append(g.radios, k), append(g.start, n), append(g.first, heard)
	}
	if len(g.radios) == 0 {
		return nil
	}
	g.stay, g.scans, g.heard = room.int(n), room.int(n), room.int(heard)
	g.x, g.level = room.float(n), room.level(n)
	for j := range g.wall {
		g.wall[j] = room.float(n)
	}
	if d.PatternDB != nil {
		g.pattern = room.float(n)
	}
	parallel.Do(len(units), func(u int) {
		g.fill(d, radios, u*gatherStays, min((u+1)*gatherStays, d.Stays()), at[u], heardAt[u])
	})
	g.counts.heard, g.counts.silent = heard, n-heard
	if floorDBm != nil {
		g.floor = *floorDBm
	}
	return g
}

// count counts over some stays.
func (d *Data) count(radios []int, from, to int) gathered {
	c := gathered{listened: make([]int, len(radios)), heard: make([]int, len(radios)), missed: make([]int, len(radios)), floor: math.Inf(1)}
	for i := from; i < to; i++ {
		for a, k := range radios {
			l := &d.Levels[i*d.Radios+k]
			m := l.Listened(d.Scans[i])
			if m == 0 {
				continue
			}
			c.listened[a]++
			c.readings += l.Heard
			c.missed[a] += m - l.Heard
			if l.Heard > 0 {
				c.heard[a]++
				c.floor = min(c.floor, lowest(*l))
			}
		}
	}
	return c
}

// fill enters the rows of some stays from the places given on.
func (r *rows) fill(d *Data, radios []int, from, to int, at, heardAt []int) {
	w := len(d.Materials)
	for a, k := range radios {
		n, h := at[a], heardAt[a]
		if n < 0 {
			continue
		}
		lastM, lastX := math.NaN(), 0.0 // stays at one place follow each other
		for i := from; i < to; i++ {
			pair := i*d.Radios + k
			l := d.Levels[pair]
			m := l.Listened(d.Scans[i])
			if m == 0 {
				continue
			}
			if l.Heard > 0 {
				r.heard[h] = n
				h++
			}
			if d.PatternDB != nil {
				r.pattern[n] = d.PatternDB[pair]
				if l.Heard > 0 {
					l.MeanDBm -= d.PatternDB[pair]
					l.MinDBm -= d.PatternDB[pair]
				}
			}
			if dist := d.DistanceM[pair]; dist != lastM {
				lastM, lastX = dist, -10/math.Ln10*ln(dist)
			}
			r.stay[n], r.x[n], r.level[n], r.scans[n] = i, lastX, l, m
			for j := range w {
				r.wall[j][n] = -d.Crossings[pair*w+j]
			}
			n++
		}
	}
}
