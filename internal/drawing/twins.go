package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

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
	type face struct {
		a, b  orb.Point
		l     float64
		angle float64
	}
	var faces []face
	total := 0.0
	for _, w := range k.out.Floor.Walls {
		for i := 1; i < len(w.Line); i++ {
			a, b := w.Line[i-1], w.Line[i]
			l := apart(a, b)
			total += l
			if l >= thickestM {
				faces = append(faces, face{a, b, l, math.Mod(math.Atan2(b[1]-a[1], b[0]-a[0])+math.Pi, math.Pi)})
			}
		}
	}
	if len(faces) > mostFaces {
		return
	}
	left := func(f face) float64 { return min(f.a[0], f.b[0]) }
	slices.SortStableFunc(faces, func(p, q face) int { return cmp.Compare(left(p), left(q)) })
	beside := make([]float64, len(faces))
	for i, p := range faces {
		right := max(p.a[0], p.b[0]) + thickestM
		ux, uy := (p.b[0]-p.a[0])/p.l, (p.b[1]-p.a[1])/p.l
		for j := i + 1; j < len(faces) && left(faces[j]) <= right; j++ {
			q := faces[j]
			if d := math.Abs(p.angle - q.angle); min(d, math.Pi-d) > 0.02 {
				continue
			}
			mid := orb.Point{(q.a[0]+q.b[0])/2 - p.a[0], (q.a[1]+q.b[1])/2 - p.a[1]}
			if off := math.Abs(ux*mid[1] - uy*mid[0]); off < thinnestM || off > thickestM {
				continue
			}
			s := ux*(q.a[0]-p.a[0]) + uy*(q.a[1]-p.a[1])
			e := ux*(q.b[0]-p.a[0]) + uy*(q.b[1]-p.a[1])
			if over := min(p.l, max(s, e)) - max(0, min(s, e)); over > 0 {
				beside[i] = min(p.l, beside[i]+over)
				beside[j] = min(q.l, beside[j]+over)
			}
		}
	}
	sum := 0.0
	for _, b := range beside {
		sum += b
	}
	if total > 0 && sum > twinShare*total {
		k.out.Notes = append(k.out.Notes, fmt.Sprintf("%.0f %% of the walls run %g to %g m beside another: where both faces of a wall are drawn it counts as two, so give only one of them, or its middle", 100*sum/total, thinnestM, thickestM))
	}
}
