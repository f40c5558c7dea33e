package propagation

import (
	"sync"

	"footrule/internal/walk"
)

// room is memory that one fit leaves to the next: what is taken from it holds
// anything, and is gone when the fit is done. Nothing that a [Fit] keeps may lie
// in it. A nil room makes what it is asked for.
type room struct {
	ints   shelf[int]
	floats shelf[float64]
	levels shelf[walk.Level]
}

// rooms are those of fits, and runRooms those of runs of rows, which are small.
var rooms, runRooms = roomPool(), roomPool()

func roomPool() *sync.Pool { return &sync.Pool{New: func() any { return new(room) }} }

// leave gives a room back.
func (r *room) leave(to *sync.Pool) {
	r.ints.clear()
	r.floats.clear()
	r.levels.clear()
	to.Put(r)
}

// shelf is memory of one type, and how much of it is taken and was asked for.
type shelf[T any] struct {
	all           []T
	taken, wanted int
}

func (s *shelf[T]) take(n int) []T {
	s.wanted += n
	if s.taken+n > len(s.all) {
		return make([]T, n)
	}
	s.taken += n
	return s.all[s.taken-n : s.taken : s.taken]
}

// clear makes all free again, and as much as was wanted.
func (s *shelf[T]) clear() {
	if s.wanted > len(s.all) {
		s.all = make([]T, s.wanted)
	}
	s.taken, s.wanted = 0, 0
}

func (r *room) int(n int) []int {
	if r == nil {
		return make([]int, n)
	}
	return r.ints.take(n)
}

func (r *room) float(n int) []float64 {
	if r == nil {
		return make([]float64, n)
	}
	return r.floats.take(n)
}

func (r *room) level(n int) []walk.Level {
	if r == nil {
		return make([]walk.Level, n)
	}
	return r.levels.take(n)
}
