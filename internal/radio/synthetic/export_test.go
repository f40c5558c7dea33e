package synthetic

import "fmt"

// Demo is a scanner of [DemoSite] as an [Office], without a fault.
func Demo(seed uint64, c Clock) *Scanner {
	s := DemoSite()
	sc, err := New(s, Office().Truth(s, seed), seed, c)
	if err != nil {
		panic(fmt.Sprintf("demo: %v", err))
	}
	return sc
}
