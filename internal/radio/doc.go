// Package radio holds what a receiver reports and what it is measured in:
// [Reading] (one RSSI of one BSSID), [Sweep] (one pass of the receiver),
// [BSSID], [Band], channel numbers and decibel arithmetic, and the [Scanner]
// that live, captured and synthetic sources implement.
//
// Caveat: a level that a receiver did not report is not a weak level. Silence
// is what a sweep does not contain; it is never written as a number.
//
// The package imports no other package of ours; sources live below it.
package radio
