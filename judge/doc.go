// Package judge turns a run and its trace into its record: summaries, discharge,
// warm-up and findings. It is pure: no clock, no I/O but the walk over the trace.
//
// Judge walks the trace once. A check looks at every sweep and then says what it
// found; a SensorIndex knows where in a sweep the sensors stand that anybody asks
// for; a Baseline is what idle looks like, against which the Moment of a start is
// judged; Thresholds decide when something becomes a finding.
package judge
