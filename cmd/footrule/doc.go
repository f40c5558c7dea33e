// Command footrule takes a wireless engineer around a floor plan, records the
// signal level of every access point at every point, and turns the levels into
// a fitted propagation model, a measured position error and the next thing to do.
//
// One file a command: flags, wiring, printing and exit codes. What is computed
// comes from internal, what is kept from store, what is drawn from tui.
//
// Exit codes: 0 done; 1 the answer is no; 2 wrong usage or unreadable input;
// 3 the environment refused.
package main
