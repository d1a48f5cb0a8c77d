// Package analysis turns runs into verdicts, curves and runtimes.
//
// Words beside those of package run: a group is the cells of one device, workload,
// supply and variant along the settings; a sample is the runs of one cell as
// logarithms; a side is what a comparison compares; a pass is one run of every cell,
// and a block what the runs of a pass have in common.
//
// Compare, Curve, Battery and Value are the questions; each takes the runs that count
// (finished, not rejected) and says beside its answer how sure it is: bounds, their
// confidence, n, the source of the noise and notes, whose codes machines branch on.
// Everything here is a pure function: no I/O, no clock, no random numbers. Inputs are
// never changed.
package analysis
