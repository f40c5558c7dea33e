package nl80211

import "time"

// ParseBSS reads the attributes of one message of an NL80211_CMD_GET_SCAN dump.
func ParseBSS(attrs []byte, boot time.Duration) (BSS, error) {
	m, err := parseScanMessage(attrs)
	if err != nil {
		return BSS{}, err
	}
	return m.bss(boot)
}
