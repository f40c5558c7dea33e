// Package capture reads levels that others recorded: the text of "iw dev …
// scan", the table of "wpa_cli scan_results", and beacons and probe responses
// with a radiotap header in pcap and pcapng files. [Read] finds the format by
// itself ([Formats]) and gives a [Capture]: scans with their readings, what was
// left out and why. [AsWalk] makes one visit of it, [Place] makes visits along
// a [Track].
//
// Caveat: a scan that was cut from frames covers only the channels on which
// the receiver listened in that window, so silence in it says nothing about
// access points elsewhere; [Capture.ListenedMHz] and the warnings tell. A level
// that is not in dBm is refused, never converted.
//
// The containers are read by github.com/gopacket/gopacket/pcapgo, which needs
// no libpcap. The radiotap header is read here: that library's decoder
// mislays per-antenna fields after extended present words, and takes vendor
// namespaces for two bytes longer than they are. The package never imports
// the store, the screens or a live radio.
package capture
