package synthetic

import (
	"bytes"
	_ "embed"
	"fmt"

	"footrule/internal/site"
)

//go:embed demo.toml
var demoTOML []byte

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
