package main

import (
	"fmt"

	"footrule/internal/radio/nl80211"

	"github.com/spf13/cobra"
)

type jsonCheck struct {
	Name   string `json:"name"`
	OK     bool   `json:"ok"`
	Detail string `json:"detail"`
	Fix    string `json:"fix"`
	Minor  bool   `json:"minor"`
}

func newDoctor(sh *shell) *cobra.Command {
	var iface string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "doctor",
		Short: "Say what this machine lacks to take live readings",
		Long: `doctor checks, step by step, what live readings need (wireless support in the
kernel, an adapter, its state, the right to scan) and prints the one command that
mends each lack. It exits with 1 when readings can't be taken.`,
		Example: "  footrule doctor\n  footrule doctor --iface wlan1 --json",
		Args:    files(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			checks := nl80211.Diagnose(cmd.Context(), iface, nl80211.Options{})
			fine := true
			out := []jsonCheck{}
			for _, c := range checks {
				fine = fine && (c.OK || c.Minor)
				out = append(out, jsonCheck(c))
			}
			if asJSON {
				if err := printJSON(sh.out, map[string]any{"ready": fine, "checks": out}); err != nil {
					return err
				}
			} else {
				for _, c := range checks {
					fmt.Fprintf(sh.out, "%-8s %s: %s\n", mark(c), c.Name, c.Detail)
					if c.Fix != "" {
						fmt.Fprintf(sh.out, "         mend it with: %s\n", c.Fix)
					}
				}
			}
			if !fine {
				return &exit{code: exitNo}
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&iface, "iface", "", "wireless interface (default: the first)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

func mark(c nl80211.Check) string {
	switch {
	case c.OK:
		return "ok"
	case c.Minor:
		return "doubtful"
	}
	return "lacking"
}
