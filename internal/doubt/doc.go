// Package doubt finds, names, places and tells apart what does not fit between a
// plan and the walks over it: access points that hang elsewhere or at each
// other's places, that changed their power, fell silent or were never heard;
// points at the wrong place; receivers that differ; two scales on one plan. Find
// gives a Report of Findings, each with its size, its evidence and what to do.
//
// All faults have one currency: the log Bayes factor of the fault against none,
// averaged over its unknown place, moment or size, on residuals whose correlation
// in space is estimated (residuals taken for independent would alarm on most
// clean sites). What is named is corrected, everything is fitted again, and so on.
//
// Caveat: levels cannot tell everything. A scale that is wrong for points and
// access points alike, a move of less than 5 m, a step of 3 dB or a point 5 m off
// are not to be expected.
//
// What is found and what is falsely named on simulated sites stands in
// testdata/results.md, made by
//
//	FOOTRULE_STUDY=200 go test ./internal/doubt -run 'TestStudy$' -v -timeout 5h
//
// The package knows no disk, no terminal and no scanner.
package doubt
