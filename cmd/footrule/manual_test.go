package main

import (
	"io"
	"regexp"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every command and flag that the manual names is there, and no line is wider
// than a usual window allows with some room.
func TestManual(t *testing.T) {
	root := newRoot(&shell{out: io.Discard, err: io.Discard, now: time.Now, getenv: func(string) string { return "" }})
	command := regexp.MustCompile(`(?m)(?:^|\s)footrule ([a-z]+)`)
	flag := regexp.MustCompile(`--([a-z0-9-]+)`)
	for _, name := range manual {
		b, err := manualPages.ReadFile("manual/" + name + ".md")
		require.NoError(t, err)
		flags := map[string]bool{}
		var visit func(c *cobra.Command)
		visit = func(c *cobra.Command) {
			c.Flags().VisitAll(func(f *pflag.Flag) { flags[f.Name] = true })
			for _, sub := range c.Commands() {
				visit(sub)
			}
		}
		visit(root)
		for _, m := range command.FindAllStringSubmatch(string(b), -1) {
			c, _, err := root.Find([]string{m[1]})
			require.NoError(t, err, "%s: %s", name, m[0])
			assert.Equal(t, m[1], c.Name(), name)
		}
		for _, m := range flag.FindAllStringSubmatch(string(b), -1) {
			assert.True(t, flags[m[1]] || m[1] == "help", "%s: no command has --%s", name, m[1])
		}
		for _, line := range regexp.MustCompile(`\r?\n`).Split(pictured(string(b)), -1) {
			assert.LessOrEqual(t, len([]rune(line)), 112, "%s: %q", name, line)
		}
	}
}
