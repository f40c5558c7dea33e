// Command guest is what the lab runs inside the emulated machine: it brings up
// the simulated radio and its air, and checks the live scanner on the real
// nl80211, condition by condition and figure by figure. lab/run.sh builds and
// starts it.
//
// Caveat: it takes the machine's wireless subsystem apart and is to be run
// nowhere else. It imports radio, nl80211 and air, nothing else of ours.
package main
