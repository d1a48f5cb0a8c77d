// Package analysis turns runs into verdicts, curves and runtimes.
//
// Words: a Run is one measurement with its labels and results; a cell is one
// combination of device, workload, setting, supply and variant; a group is the
// cells of one device, workload, supply and variant along the settings; a side
// is what a comparison compares.
//
// Everything here is a pure function: no I/O, no clock, no random numbers.
// Inputs are never changed. Results carry their own terms: estimate, bounds,
// confidence, n, method and notes.
package analysis
