package drawing

import (
	"fmt"
	"io"

	"footrule/internal/input"
)

// window passes bytes on, knows which line an offset near the present one is
// in, and ends where one piece is too large.
type window struct {
	r     io.Reader
	read  int64
	mark  int64   // where the present piece begins
	line  int     // of mark
	start int64   // where that line begins
	ends  []int64 // of lines, after mark
}

func (w *window) Read(p []byte) (int, error) {
	if w.read-w.mark > maxFeature {
		return 0, &input.Error{Line: w.line, What: fmt.Sprintf("one feature is larger than %d MiB", maxFeature>>20), Want: "save only the plan"}
	}
	n, err := w.r.Read(p[:min(len(p), 1<<20)])
	for i, c := range p[:n] {
		if c == '\n' {
			w.ends = append(w.ends, w.read+int64(i))
		}
	}
	w.read += int64(n)
	return n, err
}

// move sets the mark.
func (w *window) move(at int64) {
	w.mark = at
	k := 0
	for k < len(w.ends) && w.ends[k] < at {
		w.start = w.ends[k] + 1
		k++
	}
	w.line += k
	w.ends = append(w.ends[:0], w.ends[k:]...)
}

// place gives line and column of an offset at or after the mark.
func (w *window) place(at int64) (line, col int) {
	line, start := w.line, w.start
	for _, e := range w.ends {
		if e >= at {
			break
		}
		line, start = line+1, e+1
	}
	return line, int(max(at-start, 0)) + 1
}
