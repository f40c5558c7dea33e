package main

import (
	"fmt"
	"os"

	"footrule/internal/site"
	"footrule/store"

	"github.com/spf13/cobra"
)

func newNew(sh *shell) *cobra.Command {
	var from string
	cmd := &cobra.Command{
		Use:   "new FILE --from site.toml",
		Short: "Make a site file from a plan on paper",
		Long: `new reads a plan (site.toml: floors, walls, points, access points) and makes the
site file that walks and readings are kept in. An existing file is left alone.`,
		Example: "  footrule new depot.footrule --from site.toml",
		Args:    files(1, 1, "the FILE to make"),
		RunE: func(_ *cobra.Command, args []string) error {
			if from == "" {
				return usage(fmt.Errorf("new needs a plan: --from site.toml"))
			}
			f, err := os.Open(from)
			if err != nil {
				return err
			}
			defer f.Close()
			plan, err := site.Read(from, f)
			if err != nil {
				return err
			}
			st, err := store.Create(args[0], plan, store.Options{Version: version})
			if err != nil {
				return err
			}
			if err := st.Close(); err != nil {
				return err
			}
			points := 0
			for _, fl := range plan.Floors {
				points += len(fl.Points)
			}
			fmt.Fprintf(sh.out, "%s: %s, %s, %s with %s, %s\n", args[0], plan.Name, count(len(plan.Floors), "floor"),
				count(len(plan.AccessPoints), "access point"), count(len(plan.Radios()), "radio"), count(points, "point"))
			if points == 0 {
				fmt.Fprintf(sh.out, "the plan has no points: walk lays a grid\n")
			}
			fmt.Fprintf(sh.out, "next: footrule walk %s\n", args[0])
			return nil
		},
	}
	cmd.Flags().StringVar(&from, "from", "", "the plan, a site.toml")
	return cmd
}

// count says how many, with the noun in the right number.
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
