package store

import "sweepd/run"

// Words are the names that a store has seen: those that runs have as they stand now, and
// those that plans ask for.
type Words struct {
	Devices   []string
	Workloads []string
	Settings  []string      // names, without those in watts
	Variants  []run.Variant // without the one of no pair
	// Results are the names and units of results, those that the most runs have first.
	Results []ResultWord
}

// ResultWord is the name of a result, one of the units that runs have it in, and how many
// runs do.
type ResultWord struct {
	Name, Unit string
	Runs       int
}
