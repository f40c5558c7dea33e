package synthetic

import (
	"bytes"
	_ "embed"
	"fmt"

	"footrule/internal/site"
)

//go:embed demo.toml
var demoTOML []byte

// DemoTOML is the site.toml of [DemoSite], for who wants an example to start from.
func DemoTOML() []byte { return bytes.Clone(demoTOML) }

// DemoSite is an invented place of 1,182 m²: offices, a workshop and a
// laboratory around a corridor and a brick core, eight access points of two
// bands, 42 points. Each call gives a site of its own.
func DemoSite() *site.Site {
	s, err := site.Read("demo.toml", bytes.NewReader(demoTOML))
	if err != nil {
		panic(fmt.Sprintf("embedded site: %v", err))
	}
	return s
}

// Demo is a scanner of [DemoSite] as an [Office], without a fault.
func Demo(seed uint64, c Clock) *Scanner {
	s := DemoSite()
	sc, err := New(s, Office().Truth(s, seed), seed, c)
	if err != nil {
		panic(fmt.Sprintf("embedded site: %v", err))
	}
	return sc
}
