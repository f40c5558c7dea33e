package main

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/radio"
	"footrule/internal/radio/nl80211"
	"footrule/internal/say"

	"github.com/spf13/cobra"
)

type jsonReading struct {
	BSSID   string  `json:"bssid"`
	SSID    string  `json:"ssid"`
	FreqMHz int     `json:"freq_mhz"`
	RSSIDBm float64 `json:"rssi_dbm"`
	AgeMS   int64   `json:"age_ms"`
}

type jsonScan struct {
	Interface string        `json:"interface"`
	Started   time.Time     `json:"started"`
	TookMS    int64         `json:"took_ms"`
	Readings  []jsonReading `json:"readings"`
	Dropped   int           `json:"dropped_stale"`
}

func newScan(sh *shell) *cobra.Command {
	var iface string
	var freqs []int
	var passive, asJSON bool
	cmd := &cobra.Command{
		Use:   "scan",
		Short: "Take one live scan and print it",
		Long: `scan takes one sweep with this machine's wireless interface and prints what it
heard, strongest first. Results that were already in the kernel's memory when the
sweep began are left out and counted.`,
		Example: "  footrule scan\n  footrule scan --freq 5180 --freq 5260 --json",
		Args:    files(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			for _, f := range freqs {
				if _, ok := radio.BandOf(f); !ok {
					return usage(fmt.Errorf("--freq %d is in no WLAN band; give a channel centre in MHz as 2437 or 5180", f))
				}
			}
			s, err := nl80211.Open(iface, nl80211.Options{})
			if err != nil {
				return refused(err)
			}
			defer s.Close()
			sw, err := s.Scan(cmd.Context(), radio.Request{FreqsMHz: freqs, Passive: passive})
			if err != nil {
				return refused(err)
			}
			slices.SortStableFunc(sw.Heard, func(a, b radio.Heard) int { return cmp.Compare(b.RSSIDBm, a.RSSIDBm) })
			if asJSON {
				out := jsonScan{Interface: sw.Interface, Started: sw.Started.UTC(), TookMS: sw.Took.Milliseconds(), Readings: []jsonReading{}, Dropped: sw.DroppedStale}
				for _, h := range sw.Heard {
					out.Readings = append(out.Readings, jsonReading{h.BSSID.String(), h.SSID, h.FreqMHz, h.RSSIDBm, h.Age.Milliseconds()})
				}
				return printJSON(sh.out, out)
			}
			rows := [][]string{{"BSSID", "dBm", "MHz", "age ms", "SSID"}}
			for _, h := range sw.Heard {
				rows = append(rows, []string{h.BSSID.String(), say.Fixed(h.RSSIDBm, 0), strconv.Itoa(h.FreqMHz), strconv.FormatInt(h.Age.Milliseconds(), 10), canvas.Clean(h.SSID)})
			}
			table(sh.out, rows)
			fmt.Fprintf(sh.out, "%s: %s in %d ms, %d too old left out\n", sw.Interface, say.Count(len(sw.Heard), "BSS"), sw.Took.Milliseconds(), sw.DroppedStale)
			return nil
		},
	}
	cmd.Flags().StringVar(&iface, "iface", "", "wireless interface (default: the first)")
	cmd.Flags().IntSliceVar(&freqs, "freq", nil, "only this channel centre in MHz (repeatable)")
	cmd.Flags().BoolVar(&passive, "passive", false, "only listen, send no probe")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}
