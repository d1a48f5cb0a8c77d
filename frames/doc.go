// Package frames computes results from frame times: how fast frames came and how
// evenly.
//
// A frame time is the time from one frame to the next. A Reader reads them from
// delimited text, one a row, as frame times or as timestamps of which the
// differences count. Times gathers them in bounded memory, and a Summary has the
// figures, as rates (frames per second, fps) and times (milliseconds).
//
// Two figures are in use for the slowest 1 % (or 0.1 %) of frames, and they differ.
// One is a percentile: the rate at the frame time that 1 % of the frames exceed (edge
// in the names of results). The other is the rate over these frames alone, the
// reciprocal of their mean frame time (mean in the names of results); it is never above
// the percentile by more than the step between two neighbouring frame times.
package frames
