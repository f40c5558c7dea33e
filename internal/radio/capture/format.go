package capture

// Format is one kind of file that can be read. A new one is a file beside its
// siblings and one line in [Formats].
type Format struct {
	Name  string
	About string // what the file is, as said to a person
	sniff func(head []byte) bool
	read  func(*source) error
}

// Formats lists the formats in the order in which they are tried.
func Formats() []Format {
	return []Format{
		{"pcapng", "a pcapng file with radiotap headers", isPcapng, readPcapng},
		{"pcap", "a pcap file with radiotap headers", isPcap, readPcap},
		{"wpa", "the table that wpa_cli scan_results prints", isWPA, readWPA},
		{"iw", "the text that iw dev IFACE scan prints", isIW, readIW},
	}
}
