// Package schedule says when and in which order things happen: the plan of a
// test day, the idle sweeps of a device that is not in a run, and what cron
// entries ask for. It asks the agent and never touches a collector, and what it
// plans are plain values.
//
// A Cell is one combination of device, workload, setting, supply and variant. A
// Plan is a list of Slots, each a cell to be run once, in the order in which to
// run them. The slots come in passes: each pass holds every cell once, so that
// whatever drifts over the day meets all cells alike and can be taken out as a
// block [Cochran & Cox 1957]. A level is what is hard to change by hand, the
// supply or cores that only the firmware switches; a stretch is a row of slots of
// one level.
package schedule
