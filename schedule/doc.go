// Package schedule says when and in which order things happen: the plan of a
// test day, the idle sweeps of a device that is not in a run, and the entries that
// are done at the times of cron expressions. It reads no sensor itself but asks the
// agent to. A plan is a plain value.
//
// A Cell is one combination of device, workload, setting, supply and variant. A
// Plan is a list of Slots, each a cell to be run once, in the order in which to
// run them. The slots come in passes: each pass holds every cell once, so that
// whatever drifts over the day meets all cells alike and can be taken out as a
// block [Cochran & Cox 1957]. A level is one combination of what is hard to change by
// hand: the device, the supply, and what only the firmware switches, such as cores. A
// setup is a level without the supply. A stretch is a row of slots of one level.
package schedule
