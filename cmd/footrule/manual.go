package main

import (
	"embed"
	"regexp"
	"strings"

	"github.com/spf13/cobra"
)

//go:embed manual/*.md manual/*.txt
var manualPages embed.FS

// manual lists the pages of the manual, one for each kind of user.
var manual = []string{"technician", "analyst", "trainer"}

// addManual makes every page a topic of footrule help.
func addManual(root *cobra.Command) {
	for _, name := range manual {
		b, err := manualPages.ReadFile("manual/" + name + ".md")
		if err != nil {
			panic(err) // it is part of the program
		}
		title, text, _ := strings.Cut(string(b), "\n")
		_, short, _ := strings.Cut(title, ": ")
		root.AddCommand(&cobra.Command{
			Use:   name,
			Short: "Manual: " + short,
			Long:  title + "\n" + strings.TrimRight(pictured(text), "\n"),
		})
	}
}

// picture is one in a page: what it shows, and the name of the screen.
var picture = regexp.MustCompile(`(?m)^!\[(.*)\]\(.*/([a-z]+)-80x24\.svg\)$`)

// pictured puts the screens themselves where a page has pictures of them, with
// what they show below.
func pictured(text string) string {
	return picture.ReplaceAllStringFunc(text, func(line string) string {
		m := picture.FindStringSubmatch(line)
		b, err := manualPages.ReadFile("manual/" + m[2] + ".txt")
		if err != nil {
			panic(err) // it is part of the program
		}
		return strings.TrimRight(string(b), "\n") + "\n" + m[1] + "."
	})
}
