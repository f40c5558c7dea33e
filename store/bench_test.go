package store_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"footrule/internal/walk"
	"footrule/store"

	"github.com/stretchr/testify/require"
)

// benchFile writes an invented walk of n readings and gives its name and size.
func benchFile(b *testing.B, n int) (string, int64) {
	b.Helper()
	path := filepath.Join(b.TempDir(), "walk.csv")
	f, err := os.Create(path)
	require.NoError(b, err)
	require.NoError(b, writeWalk(f, csvOptions{rows: n}))
	info, err := f.Stat()
	require.NoError(b, err)
	require.NoError(b, f.Close())
	return path, info.Size()
}

// BenchmarkCSVReadOnly is the yardstick for BenchmarkImport: encoding/csv
// merely cutting the same million rows.
func BenchmarkCSVReadOnly(b *testing.B) {
	path, size := benchFile(b, 1_000_000)
	b.SetBytes(size)
	b.ResetTimer()
	for range b.N {
		f, err := os.Open(path)
		require.NoError(b, err)
		r := csv.NewReader(f)
		r.ReuseRecord = true
		n := 0
		for {
			_, err := r.Read()
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(b, err)
			n++
		}
		require.Equal(b, 1_000_001, n)
		require.NoError(b, f.Close())
	}
}

// BenchmarkParse is reading and checking alone, without a store.
func BenchmarkParse(b *testing.B) {
	path, size := benchFile(b, 1_000_000)
	b.SetBytes(size)
	b.ResetTimer()
	for range b.N {
		f, err := os.Open(path)
		require.NoError(b, err)
		r, err := walk.NewCSVReader(f, path, hall())
		require.NoError(b, err)
		n := 0
		for {
			if _, err = r.Next(); err != nil {
				break
			}
			n++
		}
		require.Equal(b, io.EOF, err)
		require.Equal(b, 1_000_000, n)
		require.NoError(b, f.Close())
	}
}

// peak samples the live heap until it is told to stop.
func peak() (stop func() uint64) {
	runtime.GC()
	var most atomic.Uint64
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		var m runtime.MemStats
		for {
			runtime.ReadMemStats(&m)
			if m.HeapAlloc > most.Load() {
				most.Store(m.HeapAlloc)
			}
			select {
			case <-done:
				return
			case <-time.After(20 * time.Millisecond):
			}
		}
	}()
	return func() uint64 {
		close(done)
		<-ended
		return most.Load()
	}
}

func BenchmarkImport(b *testing.B) {
	for _, n := range []int{100_000, 1_000_000, 3_000_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			path, size := benchFile(b, n)
			b.SetBytes(size)
			var heap uint64
			var onDisk int64
			b.ResetTimer()
			for range b.N {
				b.StopTimer()
				s, file := newStore(b, store.Options{})
				f, err := os.Open(path)
				require.NoError(b, err)
				stop := peak()
				b.StartTimer()
				rep, err := s.Import(walk.Header{Name: "bench"}, path, f, size, nil)
				b.StopTimer()
				heap = max(heap, stop())
				require.NoError(b, err)
				require.Equal(b, n, rep.Readings)
				info, err := os.Stat(file)
				require.NoError(b, err)
				onDisk = info.Size()
				require.NoError(b, s.Close())
				require.NoError(b, f.Close())
				b.StartTimer()
			}
			b.ReportMetric(float64(heap), "peak-heap-B")
			b.ReportMetric(float64(onDisk)/float64(n), "disk-B/reading")
		})
	}
}

func BenchmarkReadAll(b *testing.B) {
	const n = 1_000_000
	var text bytes.Buffer
	require.NoError(b, writeWalk(&text, csvOptions{rows: n}))
	s, _ := newStore(b, store.Options{})
	_, err := s.Import(walk.Header{Name: "bench"}, "walk.csv", &text, 0, nil)
	require.NoError(b, err)
	b.ResetTimer()
	for range b.N {
		walks, err := s.Walks()
		require.NoError(b, err)
		require.Equal(b, n, walks[0].Readings())
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n, "ns/reading")
}

func BenchmarkAppendVisit(b *testing.B) {
	s, _ := newStore(b, store.Options{})
	require.NoError(b, s.BeginWalk(header("w")))
	b.ResetTimer()
	for i := range b.N {
		require.NoError(b, s.AppendVisit("w", visit(uint64(i+1))))
	}
}

// BenchmarkOpen checks all pages of a file of a million readings, finds its
// free pages, and closes it.
func BenchmarkOpen(b *testing.B) {
	var text bytes.Buffer
	require.NoError(b, writeWalk(&text, csvOptions{rows: 1_000_000}))
	s, path := newStore(b, store.Options{})
	_, err := s.Import(walk.Header{Name: "bench"}, "walk.csv", &text, 0, nil)
	require.NoError(b, err)
	require.NoError(b, s.Close())
	b.ResetTimer()
	for range b.N {
		s, err := store.Open(path, store.Options{})
		require.NoError(b, err)
		require.NoError(b, s.Close())
	}
}
