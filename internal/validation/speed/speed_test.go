package main

import "testing"

func BenchmarkOurs(b *testing.B) {
	for _, c := range benches(false) {
		b.Run(c.What+"/"+c.Size, func(b *testing.B) {
			f, err := c.Prepare(b.TempDir())
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := f(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
