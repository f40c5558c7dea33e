// Package grouping proposes which BSSIDs are one radio and which radios are one
// access point: [Listen] gathers what walks heard, [Propose] weighs the evidence
// against the plan and gives a [Report] of [Proposal] values, [Apply] makes the
// plan that one accepted [Change] leads to.
//
// Caveat: these are proposals. Address patterns are habits of makers, not a
// rule, and a score is a sum of weights set by judgement, not a probability;
// nothing is changed before a person has said so.
//
// The package knows no disk, no terminal and no propagation model; it never
// imports store, tui, propagation or position.
package grouping
