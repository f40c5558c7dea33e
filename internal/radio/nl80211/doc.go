// Package nl80211 takes live readings on Linux: [Open] gives a [Scanner],
// which implements radio.Scanner and, as [Scanner.ScanBSS], also tells what
// access points announce ([BSS]). [Sweeper] limits sweeps to a site's channels,
// [Diagnose] says what a machine lacks and the command that mends it.
//
// Caveat: the kernel keeps what it heard for up to 30 s. A sweep holds only
// what was heard after its own scan began; the rest is counted, never passed on.
//
// The package talks to the kernel through mdlayher/wifi and
// mdlayher/genetlink, which no other package imports. It imports radio and
// knows neither walks nor sites. Elsewhere than on Linux everything compiles
// and every call ends in [ErrUnsupported].
package nl80211
