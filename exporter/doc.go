// Package exporter hands on what the agent and the store know: metrics for a
// Prometheus that scrapes, and the effect of the supply on results.
//
// Every reading carries the labels device, workload, setting, supply and
// variant. Gauges exist for the label set in force alone; energy counters stay
// for five minutes after it ended, so that the last scrape is complete.
package exporter
