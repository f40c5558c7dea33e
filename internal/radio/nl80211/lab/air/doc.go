// Package air is a simulated air for the kernel's simulated radios: it
// registers as the user-space medium of mac80211_hwsim, answers probe requests
// and sends the beacons of access points that exist only in it, each frame
// with the level that a known model gives for the place of the receiver.
//
// The main types are [Scene] (access points and model, pure), [Medium] (the
// link to the kernel) and [Control] (one text line per change, over a Unix
// socket, so that a test can move the receiver while another program scans).
//
// Caveat: it knows one receiver and no fading between frames of one place
// unless told; it is for tests and never part of the program.
//
// The package imports radio for BSSIDs and bands, and nothing else of ours.
package air
