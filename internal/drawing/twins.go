package drawing

import "fmt"

// Two lines this far apart and alongside each other are likely the two faces of
// one wall (common practice: partitions are 75 mm and more, masonry up to half a
// metre).
const (
	thinnestM = 0.04
	thickestM = 0.6
	twinShare = 0.3 // of the length of all walls, above which it is said
	mostFaces = 20000
)

// twins says where walls are drawn by both of their faces: such a wall would
// be crossed twice.
func (k *maker) twins() {
	faces := facesOf(k.out.Floor.Walls)
	if len(faces) > mostFaces {
		return
	}
	total, sum := 0.0, 0.0
	for _, f := range faces {
		total += f.l
	}
	beside := map[*face]float64{}
	couples(faces, thickestM, func(f, g *face, lo, hi, _ float64) {
		if f.l >= thickestM && g.l >= thickestM {
			beside[f] = min(f.l, beside[f]+hi-lo)
			beside[g] = min(g.l, beside[g]+hi-lo)
		}
	})
	for _, f := range faces {
		sum += beside[f]
	}
	if total > 0 && sum > twinShare*total {
		k.out.Notes = append(k.out.Notes, fmt.Sprintf("%.0f %% of the walls run %g to %g m beside another; where both faces of a wall are drawn it counts as two: say how thick walls are with --faces, such as --faces 0.3m", 100*sum/total, thinnestM, thickestM))
	}
}
