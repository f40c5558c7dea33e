package main

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
	"github.com/spf13/pflag"
)

func newMan(sh *shell) *cobra.Command {
	return &cobra.Command{
		Use:   "man FOLDER",
		Short: "Write the manual pages into a folder",
		Long: `man writes one manual page for each command into FOLDER, which is made where it
is not there. They are dated by SOURCE_DATE_EPOCH (seconds since 1970) where that
is set, so that equal programs write equal pages, and else with today.`,
		Example: "  footrule man ~/.local/share/man/man1\n  man footrule-errors",
		Args:    files(1, 1, "the FOLDER to write to"),
		RunE: func(cmd *cobra.Command, args []string) error {
			date := sh.now()
			if epoch := sh.getenv("SOURCE_DATE_EPOCH"); epoch != "" {
				s, err := strconv.ParseInt(epoch, 10, 64)
				if err != nil {
					return usage(fmt.Errorf("SOURCE_DATE_EPOCH is %q; give whole seconds since 1970, or unset it", epoch))
				}
				date = time.Unix(s, 0)
			}
			date = date.UTC()
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return err
			}
			literally(cmd.Root())
			return doc.GenManTree(cmd.Root(), &doc.GenManHeader{Section: "1", Date: &date, Source: "footrule " + version, Manual: "footrule"}, args[0])
		},
	}
}

// literally has the texts of commands and flags printed as they stand: the
// generator of pages reads them as Markdown.
func literally(cmd *cobra.Command) {
	cmd.DisableAutoGenTag = true
	cmd.Short, cmd.Long, cmd.Use = escapeMarkdown(cmd.Short), escapeMarkdown(cmd.Long), escapeMarkdown(cmd.Use)
	cmd.InitDefaultHelpFlag()
	cmd.Flags().VisitAll(func(f *pflag.Flag) { f.Usage, f.DefValue = escapeMarkdown(f.Usage), escapeMarkdown(f.DefValue) })
	for _, c := range cmd.Commands() {
		literally(c)
	}
}

var markdown = strings.NewReplacer(`\`, `\\`, "`", "\\`", "*", `\*`, "_", `\_`, "[", `\[`, "]", `\]`, "<", `\<`, ">", `\>`, "#", `\#`, "|", `\|`, "~", `\~`)

func escapeMarkdown(s string) string { return markdown.Replace(s) }
