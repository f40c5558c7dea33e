package main

import (
	"embed"
	"strings"

	"github.com/spf13/cobra"
)

//go:embed manual/*.md
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
			Long:  title + "\n" + strings.TrimRight(text, "\n"),
		})
	}
}
