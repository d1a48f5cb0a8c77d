// Package exporter gives other programs what the agent and the store have: metrics for
// Prometheus, with the effect of the supply on results, and runs as a tidy table, which
// it also reads.
//
// Every reading carries the labels device, workload, setting, supply and
// variant. Gauges exist for the label set in force alone; energy counters stay
// for five minutes after it ended, so that the last scrape is complete.
package exporter
