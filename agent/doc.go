// Package agent samples a device all day and keeps each run a user starts.
//
// Words: a sweep is one pass that reads every sensor once, at one timestamp; a
// run is an interval that a user started, with its labels, sweeps, result and
// findings; a finding is one thing about a run that a reader must know. The
// active setting is the power setting in force, in watts or by name.
//
// One goroutine samples (loop.go). While a run is recorded, sweeps go to a
// Recorder in batches of a second. When the run ends, package judge turns its stored
// sweeps into summaries, discharge and findings; a run that a crash left behind
// is judged by the same function from the same stored sweeps. Events tell whoever
// subscribes what happens to runs and to the device.
package agent
