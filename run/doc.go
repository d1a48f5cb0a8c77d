// Package run is the vocabulary: the words that every other package uses for what
// is measured, and nothing else.
//
// A device runs a workload at a setting (a power limit in watts, or a named
// profile), fed by a supply, perhaps with a variant (whatever else was changed on
// purpose). These five are a cell; the same five, with where the setting is known
// from, are the labels of a sweep and of a run. A sweep is one pass that reads
// every sensor once; a reading is one sensor's value in it. A run is an interval
// that a user started, with its labels, results and findings; a record is all that
// is kept of it but its sweeps, which are its trace.
//
// Unknown numbers are nil (or NaN in sweeps), never zero. The package imports
// nothing of ours; types that travel as JSON keep the field names of the API.
package run
